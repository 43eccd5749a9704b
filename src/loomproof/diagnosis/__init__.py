"""From mismatch to the fewest faults that explain it."""
