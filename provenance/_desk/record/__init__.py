"""Pages of a record: overview, tables, timbers, findings, the day."""
