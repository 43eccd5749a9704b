"""What is looked at with the loom on, before anything is claimed: the bench, and how long the loom settles.

With a loom on, driving one point pulls its whole net low. So the points of one net are never driven
together here: the caller says which points should be one net (``nets``), and the first check drives
one point of every net at a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loomproof.bench.seam import Bench, PointSet, points_of

VOLT_LIMIT_V = 0.5
"""Largest voltage that counts as none. Ours: under any vehicle supply, over what galvanic contacts make."""

LONGEST_SETTLE_US = 200_000
"""Where looking for a settle time ends; a loom slower than this is not sensed."""


@dataclass(frozen=True, slots=True)
class Check:
    """One check: its name, whether it passed, and what was seen."""

    name: str
    passed: bool
    text: str


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
    nets: Sequence[PointSet],
    *,
    meter_v: float | None = None,
    volt_limit_v: float = VOLT_LIMIT_V,
    longest_settle_us: int = LONGEST_SETTLE_US,
) -> SelfCheck:
    """Look at the bench with the loom on, and find and set the settle time.

    ``nets`` are the points in use, those that should be one net together in one set. ``meter_v`` is the
    voltage that a person read on the loom with a meter, for a bench that measures none. Nothing is
    driven where a voltage is found. Raises `LinkError` and its like, never for a failed check.
    """
    voltage = check_voltage(bench, nets, meter_v=meter_v, limit_v=volt_limit_v)
    if not voltage.passed:
        return SelfCheck((voltage,))
    if bench.capabilities().sense_ohm is None:
        return SelfCheck((voltage, Check("sense", True, "this bench cannot sense; all is read in ohms")))
    settle, settle_us = find_settle(bench, nets, longest_us=longest_settle_us)
    return SelfCheck((voltage, settle, *check_points(bench, nets)), settle_us)


def check_voltage(
    bench: Bench, nets: Sequence[PointSet], *, meter_v: float | None = None, limit_v: float = VOLT_LIMIT_V
) -> Check:
    """Look for a voltage on the loom: one point of each net against the first, two points at a time.

    What a person's meter read (``meter_v``) counts on every bench, and nothing is asked where it is too much.
    Sets of several nets are not joined for this: that would short a battery that is still connected. A
    source between two nets with no way to the first is seen by the empty drive of `check_points`.
    """
    firsts = [_first(net) for net in nets]
    by_meter = "" if meter_v is None else f"{meter_v:g} V by a person's meter"
    if meter_v is not None and not abs(meter_v) <= limit_v:
        return Check("voltage", False, f"{by_meter} (limit {limit_v:g} V)")
    if bench.capabilities().volt_max is None:
        if meter_v is None:
            return Check(
                "voltage",
                False,
                "this bench cannot measure a voltage on the loom: read it with a meter, and give the "
                "reading with --meter-volts",
            )
        return Check("voltage", True, f"{by_meter} (limit {limit_v:g} V)")
    worst, place = 0.0, ""
    for point in firsts[1:]:
        volts = bench.voltage(point, firsts[0])
        if abs(volts) > abs(worst):
            worst, place = volts, f" at point {_names(point)} against point {_names(firsts[0])}"
    seen = ", ".join(filter(None, (f"largest {worst:.3g} V{place}", by_meter)))
    return Check("voltage", abs(worst) <= limit_v, f"{seen} (limit {limit_v:g} V)")


def find_settle(
    bench: Bench, nets: Sequence[PointSet], *, longest_us: int = LONGEST_SETTLE_US
) -> tuple[Check, int | None]:
    """Find and set the settle time: doubled until two settings agree, then doubled once more.

    Every pattern follows one in which all points were driven, so that each fragment has to rise from
    low: one that has not yet risen reads low and would hide an open. Two settings agree where all their
    answers are equal and the empty drive read all high; without that, two settings that are both far too
    short would agree.
    """
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
        f"; point {_names(low)} never rises" if low else ""
    )
    return Check("settle", False, text), None


def check_points(bench: Bench, nets: Sequence[PointSet]) -> tuple[Check, ...]:
    """Look at every point: high with nothing driven, low when driven itself, seen both ways.

    Sensing with the empty drive, then as often as the largest net has points.
    """
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
    names = [str(point) for point in points_of(points)]
    return ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")
