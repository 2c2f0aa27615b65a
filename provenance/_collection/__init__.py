"""What a curator does with a collection: moves and loans, places, stocktakes, yearly figures."""
