"""Plans and elevations to scale."""
