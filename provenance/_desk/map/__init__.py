"""The map: scans fitted to the grid, points placed on it, plans to scale."""
