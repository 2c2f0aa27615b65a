"""The same structure checks with other engines, for benchmarks/check.py to compare with."""
