"""Pages about samples that travel: parcels, results that come back, custody."""
