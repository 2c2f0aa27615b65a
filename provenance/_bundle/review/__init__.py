"""What a person reads before a public edition is packed, and what they decide about it."""
