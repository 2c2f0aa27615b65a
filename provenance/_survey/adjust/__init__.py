"""Coordinates from tapes, offsets, bearings and heights."""
