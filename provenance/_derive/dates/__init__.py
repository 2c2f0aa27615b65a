"""What dates say: spans, fellings, phases, order of building, ages, ring widths."""
