"""Positions as files for a GIS."""
