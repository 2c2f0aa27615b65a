"""What a record may hold: schemas, profiles, dates and notations."""
