"""Reads what a picture and its name say of themselves, and drafts rows of the table 'file'."""
