"""The invented scenario: an ideal record, from which the field exports are written."""
