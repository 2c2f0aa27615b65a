"""Makes the public edition of a package, and says what is not in it."""
