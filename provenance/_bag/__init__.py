"""Bags and zips: hashing, writing, and reading a stranger's."""
