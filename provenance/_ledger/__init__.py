"""Custody: the sealed events, who holds what, signatures."""
