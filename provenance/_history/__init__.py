"""Who said what, and when: acts, of which the tables are what stands."""
