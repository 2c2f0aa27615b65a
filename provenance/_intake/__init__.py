"""Field exports as crews keep them, read into the tables of a package."""
