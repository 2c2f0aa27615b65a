"""Identifiers, check characters, stamps and what a code on a label says."""
