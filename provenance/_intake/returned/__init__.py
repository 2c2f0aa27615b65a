"""A filled workbook that comes back is an edit of the record it left with."""
