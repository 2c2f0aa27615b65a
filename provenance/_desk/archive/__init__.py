"""What may be public, and both editions of a record."""
