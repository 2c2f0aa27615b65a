"""Keeps site, wood, sample, plug stamp and laboratory result tied together for decades."""

__version__ = "0.1.0"
