"""What sizes and dates then say: taper, volume, trees, spans; every figure with its caution."""
