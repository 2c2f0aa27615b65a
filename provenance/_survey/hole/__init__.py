"""Where a hole is, and where one may drill next."""
