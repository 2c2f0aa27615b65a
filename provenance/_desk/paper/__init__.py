"""Pages that print: labels, tags, cards, sheets and plans, the numbers on stamps, printers."""
