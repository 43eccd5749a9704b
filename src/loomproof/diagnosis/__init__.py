"""From mismatch to the fewest faults that explain it, where they sit, and what to repair."""

from loomproof.diagnosis.changes import Changes, changes
from loomproof.diagnosis.explain import explain
from loomproof.diagnosis.narrow import Effect, Taken, named, narrow
from loomproof.diagnosis.seen import Observation, read_observation
from loomproof.diagnosis.weights import weight_table

__all__ = [
    "Changes",
    "Effect",
    "Observation",
    "Taken",
    "changes",
    "explain",
    "named",
    "narrow",
    "read_observation",
    "weight_table",
]
