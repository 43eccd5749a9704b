"""Every cause of a finding: the kind that it is reported as, its place in the queue, where to look for it."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum, StrEnum, auto

from loomproof.results.findings import Kind


class Look(Enum):
    """Which things one more look can clear, or find bad: `loomproof.diagnosis.narrow` says for each."""

    LEAD = auto()
    LEADS = auto()
    ADAPTER = auto()
    PLUG = auto()
    PART = auto()
    ALL_PLACES = auto()
    WIRES = auto()
    CONTACT = auto()
    ALONG = auto()
    ADDED = auto()
    BETWEEN = auto()
    ELSEWHERE = auto()


class Cause(StrEnum):
    """What is wrong, beyond its kind; every cause that a finding or an alternative carries stands here.

    ``rank`` orders findings: what must be mended first has the lowest. A document carries the text alone.
    """

    kind: Kind
    rank: int
    look: Look

    def __new__(cls, text: str, kind: Kind, rank: int, look: Look) -> Cause:
        """Make a member, which is its text and knows how it is reported."""
        cause = str.__new__(cls, text)
        cause._value_ = text
        cause.kind, cause.rank, cause.look = kind, rank, look
        return cause

    # Look at these before touching the loom: they change the meaning of everything below.
    WRONG_LOOM = "wrong_loom", Kind.MISWIRE, 0, Look.ELSEWHERE
    NOTHING_PLUGGED = "nothing_plugged", Kind.OPEN, 0, Look.ELSEWHERE
    ADAPTER_LEAD = "adapter_lead", Kind.OPEN, 1, Look.LEAD
    RESISTIVE_LEAD = "resistive_lead", Kind.HIGH_RESISTANCE, 1, Look.LEAD
    ADAPTER_BOARD = "adapter_board", Kind.OPEN, 1, Look.ADAPTER
    ADAPTER_SHORT = "adapter_short", Kind.SHORT, 1, Look.LEADS
    NOT_PLUGGED = "not_plugged", Kind.OPEN, 2, Look.PLUG
    LEFT_IN = "left_in", Kind.UNEXPECTED_COMPONENT, 2, Look.PART
    EXCHANGED = "exchanged", Kind.MISWIRE, 3, Look.ALL_PLACES
    MIRRORED = "mirrored", Kind.MISWIRE, 3, Look.ALL_PLACES
    ROTATED = "rotated", Kind.MISWIRE, 3, Look.ALL_PLACES
    SHIFTED = "shifted", Kind.MISWIRE, 3, Look.ALL_PLACES
    ADAPTER = "adapter", Kind.MISWIRE, 3, Look.ADAPTER
    # Then what burns, then what is in the wrong place, then what does not reach.
    TOUCHING = "touching", Kind.SHORT, 4, Look.BETWEEN
    ADDED_WIRE = "added_wire", Kind.SHORT, 4, Look.ADDED
    CROSSED = "crossed", Kind.MISWIRE, 5, Look.ALL_PLACES
    CROSSED_HOUSINGS = "crossed_housings", Kind.MISWIRE, 5, Look.ALL_PLACES
    CROSSED_JOINT = "crossed_joint", Kind.MISWIRE, 5, Look.WIRES
    MOVED_TO_SPARE = "moved_to_spare", Kind.MISWIRE, 5, Look.ALL_PLACES
    UNEXPLAINED = "unexplained", Kind.MISWIRE, 5, Look.ELSEWHERE
    REVERSED_DIODE = "reversed_diode", Kind.REVERSED, 6, Look.PART
    OPEN_SPLICE = "open_splice", Kind.OPEN, 7, Look.ELSEWHERE
    BROKEN_WIRE = "broken_wire", Kind.OPEN, 7, Look.ALONG
    BAD_CONTACT = "bad_contact", Kind.OPEN, 7, Look.CONTACT
    BLOWN_FUSE = "blown_fuse", Kind.OPEN, 7, Look.PART
    OPEN_PART = "open_part", Kind.OPEN, 7, Look.PART
    MISSING_PART = "missing_part", Kind.MISSING_COMPONENT, 8, Look.PART
    SHORTED_PART = "shorted_part", Kind.WRONG_VALUE, 8, Look.PART
    WRONG_VALUE = "wrong_value", Kind.WRONG_VALUE, 8, Look.PART
    ADDED_PART = "added_part", Kind.UNEXPECTED_COMPONENT, 9, Look.BETWEEN
    ONE_WAY_PATH = "one_way_path", Kind.UNEXPECTED_COMPONENT, 9, Look.BETWEEN
    SHORTER_WAY = "shorter_way", Kind.UNEXPECTED_COMPONENT, 9, Look.BETWEEN
    RESISTIVE_WIRE = "resistive_wire", Kind.HIGH_RESISTANCE, 10, Look.ALONG
    RESISTIVE_CONTACT = "resistive_contact", Kind.HIGH_RESISTANCE, 10, Look.CONTACT
    RESISTIVE_SPLICE = "resistive_splice", Kind.HIGH_RESISTANCE, 10, Look.ELSEWHERE
    RESISTIVE_PATH = "resistive_path", Kind.HIGH_RESISTANCE, 10, Look.ELSEWHERE
    LEAK = "leak", Kind.LEAKAGE, 11, Look.BETWEEN
    LOOSE_CONTACT = "loose_contact", Kind.INTERMITTENT, 12, Look.ALONG


CAUSES: Mapping[str, Cause] = {cause.value: cause for cause in Cause}
"""Each cause by the text that a document carries."""


def look_of(cause: str) -> Look:
    """Return where a cause is looked for; a text that is no cause says nothing of that."""
    return CAUSES[cause].look if cause in CAUSES else Look.ELSEWHERE


def at_the_adapter(cause: str) -> bool:
    """Whether what a finding or alternative carries lies on the bench's side and not in the loom."""
    return look_of(cause) in (Look.LEAD, Look.LEADS, Look.ADAPTER)
