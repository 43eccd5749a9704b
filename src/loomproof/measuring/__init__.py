"""What was answered: the only room that drives a bench."""
