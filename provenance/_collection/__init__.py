"""What a store does with the samples it keeps: places, loans, requests, stocktake, figures."""
