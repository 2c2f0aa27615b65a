"""Sizes, dates and directions as crews write them."""
