"""Everything the crew and the curator hold: labels, tags, cards, record sheets, workbook."""
