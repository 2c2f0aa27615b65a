"""Reads field files of every kind into rows of texts."""
