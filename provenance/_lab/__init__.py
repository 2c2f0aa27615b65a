"""Laboratory results: date notation, import, reconciliation with the field record."""
