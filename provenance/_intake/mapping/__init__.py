"""Which column of a form goes where."""
