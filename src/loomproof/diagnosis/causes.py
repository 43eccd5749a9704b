"""From an explanation to the ``kind`` and ``cause`` of the results document, and its place in the queue."""

from __future__ import annotations

from typing import NamedTuple

from loomproof.results.findings import Kind


class Cause(NamedTuple):
    """What a cause is reported as; ``rank`` orders findings, what must be mended first has the lowest."""

    kind: Kind
    rank: int


CAUSES: dict[str, Cause] = {
    # Look at these before touching the loom: they change the meaning of everything below.
    "wrong_loom": Cause(Kind.MISWIRE, 0),
    "nothing_plugged": Cause(Kind.OPEN, 0),
    "adapter_lead": Cause(Kind.OPEN, 1),
    "adapter_board": Cause(Kind.OPEN, 1),
    "adapter_short": Cause(Kind.SHORT, 1),
    "not_plugged": Cause(Kind.OPEN, 2),
    "left_in": Cause(Kind.UNEXPECTED_COMPONENT, 2),
    "exchanged": Cause(Kind.MISWIRE, 3),
    "mirrored": Cause(Kind.MISWIRE, 3),
    "rotated": Cause(Kind.MISWIRE, 3),
    "shifted": Cause(Kind.MISWIRE, 3),
    "adapter": Cause(Kind.MISWIRE, 3),
    # Then what burns, then what is in the wrong place, then what does not reach.
    "touching": Cause(Kind.SHORT, 4),
    "added_wire": Cause(Kind.SHORT, 4),
    "crossed": Cause(Kind.MISWIRE, 5),
    "crossed_housings": Cause(Kind.MISWIRE, 5),
    "crossed_joint": Cause(Kind.MISWIRE, 5),
    "moved_to_spare": Cause(Kind.MISWIRE, 5),
    "unexplained": Cause(Kind.MISWIRE, 5),
    "reversed_diode": Cause(Kind.REVERSED, 6),
    "open_splice": Cause(Kind.OPEN, 7),
    "broken_wire": Cause(Kind.OPEN, 7),
    "bad_contact": Cause(Kind.OPEN, 7),
    "blown_fuse": Cause(Kind.OPEN, 7),
    "open_part": Cause(Kind.OPEN, 7),
    "missing_part": Cause(Kind.MISSING_COMPONENT, 8),
    "shorted_part": Cause(Kind.WRONG_VALUE, 8),
    "wrong_value": Cause(Kind.WRONG_VALUE, 8),
    "added_part": Cause(Kind.UNEXPECTED_COMPONENT, 9),
    "one_way_path": Cause(Kind.UNEXPECTED_COMPONENT, 9),
    "shorter_way": Cause(Kind.UNEXPECTED_COMPONENT, 9),
    "resistive_wire": Cause(Kind.HIGH_RESISTANCE, 10),
    "resistive_contact": Cause(Kind.HIGH_RESISTANCE, 10),
    "resistive_splice": Cause(Kind.HIGH_RESISTANCE, 10),
    "resistive_path": Cause(Kind.HIGH_RESISTANCE, 10),
    "leak": Cause(Kind.LEAKAGE, 11),
    "loose_contact": Cause(Kind.INTERMITTENT, 12),
}
"""Cause to kind and rank. Every cause that a finding or an alternative carries stands here."""
