"""Looks over many packages and bundles at once."""
