"""Long runs: campaign."""
