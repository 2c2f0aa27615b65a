"""From tape readings to points on the site grid, holes in the wood, and drawings of both."""
