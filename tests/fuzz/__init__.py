"""Long runs: fuzz."""
