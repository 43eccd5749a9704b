"""Values that the rooms hand to each other."""
