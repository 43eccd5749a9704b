"""What is each end of a loom that nobody knows? Names as a person at the loom gives them, touch by touch."""
