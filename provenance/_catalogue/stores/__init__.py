"""Bundles where they lie: disks, stores, workers."""
