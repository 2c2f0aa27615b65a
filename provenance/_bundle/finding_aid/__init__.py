"""Writes the finding aid of a bundle: pages with search and plans that open from a disk."""
