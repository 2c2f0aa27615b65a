"""Identifiers, check letters, stamps and what a code on a label says."""
