"""What is looked at with the loom on, before anything is claimed: the bench, and how long the loom settles.

With a loom on, driving one point pulls its whole net low. So the points of one net are never driven
together here: the caller says which points should be one net (``nets``), and the first check drives
one point of every net at a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loomproof.bench.interface import Bench
from loomproof.bench.seam import PointSet, points_of
from loomproof.errors import SafetyError, Todo, UnfitError
from loomproof.loom.text import first_of
from loomproof.measuring.check import Check
from loomproof.measuring.clearance import Clearance, require_loom
from loomproof.measuring.undriven import VOLT_LIMIT_V, MeterWanted, drive_alone, look_undriven
from loomproof.planning.conductors import Conductors

__all__ = ["Check", "Conductors", "SelfCheck", "refuse_unfit", "self_check"]

LONGEST_SETTLE_US = 200_000
"""Where looking for a settle time ends; a loom slower than this is not sensed."""

HELD_LOW = (
    "Something holds this at 0 V: take the probe off, and look for an earth or a supply on the loom. What "
    "stays low with the loom off is the bench's own input."
)
"""What can hold a point low with nothing driven, for people."""


@dataclass(frozen=True, slots=True)
class SelfCheck:
    """All checks. ``settle_us`` is the settle time found and set; ``None`` where it was not found."""

    checks: tuple[Check, ...]
    settle_us: int | None = None

    @property
    def passed(self) -> bool:
        """Whether every check passed."""
        return all(check.passed for check in self.checks)

    @property
    def failures(self) -> tuple[Check, ...]:
        """The checks that did not pass."""
        return tuple(check for check in self.checks if not check.passed)


def self_check(
    bench: Bench,
    clearance: Clearance,
    given: Conductors,
    *,
    volt_limit_v: float = VOLT_LIMIT_V,
    longest_settle_us: int = LONGEST_SETTLE_US,
) -> SelfCheck:
    """Look at the bench with the loom on, and find and set the settle time.

    Nothing is driven before the undriven loom has been looked at, and no two points before each was driven
    alone (`loomproof.measuring.undriven`). Raises `SafetyError` without a clearance for a loom on this bench,
    `LinkError` and its like, never for a failed check.
    """
    undriven = look_undriven(bench, clearance, given, volt_limit_v)
    if not all(check.passed for check in undriven):
        return SelfCheck(undriven)
    voltage = next(check for check in undriven if check.name == "voltage")
    if bench.capabilities().sense_ohm is None:
        return SelfCheck((voltage, Check("sense", True, "this bench cannot sense; all is read in ohms")))
    alone = drive_alone(bench, clearance, given, volt_limit_v)
    if not all(check.passed for check in alone):
        return SelfCheck((voltage, *alone))
    settle, settle_us = find_settle(bench, clearance, given.nets, longest_us=longest_settle_us)
    singly = next(check for check in alone if check.name == "one at a time")
    return SelfCheck((voltage, singly, settle, *check_points(bench, clearance, given.nets)), settle_us)


def refuse_unfit(check: SelfCheck, cure: str) -> None:
    """Refuse to go on where a check failed: `SafetyError` for a voltage on the loom, else `UnfitError`."""
    if check.passed:
        return
    first = check.failures[0]
    if first.name == "voltage":
        raise SafetyError(
            f"{first.name}: {first.text}",
            cure=f"Find the source, take it off and let capacitors discharge through a resistor. {cure}",
            do=Todo.METER_VOLTS if isinstance(first, MeterWanted) else None,
        )
    held = f"{HELD_LOW} " if first.name == "empty drive" else ""
    raise UnfitError(f"{first.name}: {first.text}", cure=held + cure)


def find_settle(
    bench: Bench, clearance: Clearance, nets: Sequence[PointSet], *, longest_us: int = LONGEST_SETTLE_US
) -> tuple[Check, int | None]:
    """Find and set the settle time: doubled until two settings agree, then doubled once more.

    Every pattern follows one in which all points were driven, so that each fragment has to rise from
    low: one that has not yet risen reads low and would hide an open. Two settings agree where all their
    answers are equal and the empty drive read all high; without that, two settings that are both far too
    short would agree.
    """
    require_loom(clearance, bench)
    everything = _joined(nets)
    firsts = [_first(net) for net in nets]
    drives = [everything, 0, everything, _joined(firsts[::2]), everything, _joined(firsts[1::2])]
    settle_us = bench.capabilities().settle_min_us
    before: list[PointSet] | None = None
    while settle_us <= longest_us:
        bench.set_settle(settle_us)
        answer = bench.sense(drives)
        if answer == before and answer[1] == 0:
            settle_us *= 2
            bench.set_settle(settle_us)
            return Check("settle", True, f"{settle_us} µs: two settings agreed, doubled once more"), settle_us
        before = answer
        settle_us *= 2
    low = before[1] if before else 0
    text = f"no two settings up to {longest_us} µs agree" + (
        f"; point {_names(low)} never rises: a large capacitor, or a voltage on the loom" if low else ""
    )
    return Check("settle", False, text), None


def check_points(bench: Bench, clearance: Clearance, nets: Sequence[PointSet]) -> tuple[Check, ...]:
    """Look at every point: high with nothing driven, low when driven itself, seen both ways.

    Sensing with the empty drive, then as often as the largest net has points.
    """
    require_loom(clearance, bench)
    rounds = [0, *_rounds(nets)]
    answers = bench.sense(rounds)
    stuck_low = answers[0]
    dead = 0
    seen_low = 0
    for drive, low in zip(rounds[1:], answers[1:], strict=True):
        dead |= drive & ~low
        seen_low |= low
    everything = _joined(nets)
    never = everything & (~seen_low | stuck_low)
    return (
        Check(
            "empty drive",
            not stuck_low,
            _said(stuck_low, "reads low with nothing driven", "all points read high"),
        ),
        Check("read back", not dead, _said(dead, "reads high while driven", "every driven point reads low")),
        Check(
            "both ways",
            not never,
            _said(never, "was not seen both ways", "every input was seen high and low"),
        ),
    )


def _rounds(nets: Sequence[PointSet]) -> list[PointSet]:
    points = [points_of(net) for net in nets]
    return [
        _joined([1 << (net[turn] - 1) for net in points if turn < len(net)])
        for turn in range(max((len(net) for net in points), default=0))
    ]


def _joined(sets: Sequence[PointSet]) -> PointSet:
    whole = 0
    for each in sets:
        whole |= each
    return whole


def _first(net: PointSet) -> PointSet:
    return net & -net


def _said(points: PointSet, bad: str, good: str) -> str:
    return f"point {_names(points)} {bad}" if points else good


def _names(points: PointSet) -> str:
    return first_of(points_of(points))
