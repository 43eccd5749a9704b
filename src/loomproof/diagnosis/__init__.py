"""From mismatch to the fewest faults that explain it, where they sit, and what to repair."""

from loomproof.diagnosis.explain import explain

__all__ = ["explain"]
