"""Checks a package: structure as the schemas say, and the rules of the trade."""
