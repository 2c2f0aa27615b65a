"""The shelf that everything stands on: errors, findings, writing to disk."""
