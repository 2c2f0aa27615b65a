"""Looks many bundles over for damage and loss."""
