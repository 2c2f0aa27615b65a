"""What sizes say: sections, volumes, trees, use of wood, labor."""
