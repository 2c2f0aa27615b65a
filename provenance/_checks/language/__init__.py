"""What the trade rules are written in: rules, joined views, dates, wording."""
