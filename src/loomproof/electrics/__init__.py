"""What the description implies: nets, expected ohms, limits, uncertainty."""
