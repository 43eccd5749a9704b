"""From mismatch to the fewest faults that explain it, where they sit, and what to repair."""

from loomproof.diagnosis.changes import Changes, changes
from loomproof.diagnosis.explain import explain
from loomproof.diagnosis.narrow import Observation, narrow, read_observation
from loomproof.diagnosis.weights import weight_table

__all__ = ["Changes", "Observation", "changes", "explain", "narrow", "read_observation", "weight_table"]
