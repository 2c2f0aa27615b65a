"""Finds protected places in open texts, in every notation that can be computed from a point."""
