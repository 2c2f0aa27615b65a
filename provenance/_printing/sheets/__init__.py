"""Lays out and prints the record sheets that a crew fills in with a pencil."""
