"""Labels and their stock."""
