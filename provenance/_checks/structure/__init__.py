"""What the Table Schemas say, checked column by column."""
