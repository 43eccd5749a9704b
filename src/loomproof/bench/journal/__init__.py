"""The journal of raw readings: written before an answer is believed, and answered from on replay.

`lines` is the form of a line, `writing` a bench that keeps a journal, `replaying` one that answers from it.
"""

from loomproof.bench.journal.replaying import ReplayBench
from loomproof.bench.journal.writing import JournaledBench

__all__ = ["JournaledBench", "ReplayBench"]
