"""What to ask: pure, from an expectation and what a bench can do."""
