"""Tags, cards, lists and receipts."""
