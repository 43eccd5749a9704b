"""The hardware seam and its drivers."""
