"""What stays as it is since 1.0, as a file, and what holds the program to it."""
