"""Draws the derived tables: charts on sheets, in black and white."""
