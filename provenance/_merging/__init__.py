"""Two copies of one record, brought together."""
