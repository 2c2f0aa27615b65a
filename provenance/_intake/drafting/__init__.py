"""Guesses what the columns of an unknown form are, from their headings and their values."""
