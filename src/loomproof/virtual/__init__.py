"""A simulated scanner with a simulated loom on it."""
