"""What the car needs of the loom."""
