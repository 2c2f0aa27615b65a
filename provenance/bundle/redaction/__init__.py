"""Makes the public edition of a package: what is withheld, made coarse, or replaced, and says so."""
