"""A search for the place that a public edition is about, by somebody with a register."""
