"""A scanned plan: fitted to the site grid by known points, then wood and holes are traced on it."""
