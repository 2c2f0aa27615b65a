"""Brings files into a record by pages: dropped, shown as they are, assigned, tried, taken in."""
