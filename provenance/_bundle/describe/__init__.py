"""What a bundle says of itself."""
