"""Archive bundles: pack a package, verify a bundle, unpack it again."""
