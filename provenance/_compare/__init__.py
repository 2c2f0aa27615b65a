"""Tells two states of one record apart: rows, files, edition and ledger."""
