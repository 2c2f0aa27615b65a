"""From the rows of a sheet to rows of the tables."""
