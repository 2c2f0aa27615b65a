"""What surveying is made of: readings, points, least squares."""
