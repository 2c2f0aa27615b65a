"""A day in the field at a glance, for a crew in the evening."""
