"""A package on disk: opened, read, written, started."""
