"""Long runs: figures."""
