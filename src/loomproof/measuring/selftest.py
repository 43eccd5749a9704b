"""The bench's own test, no loom on it: what it found, dated, and kept as one line of a file.

Three hook-ups: nothing plugged (or an adapter with nothing at its end: its shorts show here too); a
shorting plug that joins all ends of an adapter; reference resistors between two points each. Each test
wants a clearance of the bench with no loom on it, and raises `SafetyError` without.
"""

from __future__ import annotations

import json
import math
import os
import statistics
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated, TextIO

from pydantic import Field, TypeAdapter, ValidationError

from loomproof.bench.interface import Bench
from loomproof.bench.references import Reference
from loomproof.bench.seam import Accuracy, Identity, PointSet, point_set, points_of
from loomproof.errors import InputError, StoreError, Todo, UnfitError, UsageError
from loomproof.loom.text import first_of
from loomproof.measuring.clearance import Clearance, require_empty
from loomproof.measuring.selfcheck import Check
from loomproof.results.codec import Moment, fault_of

REPEATS = 25
"""Readings for the standard deviation: 24 degrees of freedom, a relative uncertainty of 14 % of it
(JCGM 100:2008, E.4.3, table E.1 gives 16 % for 20 and 13 % for 30 readings)."""


RESISTORS = "reference resistors"
"""What a self-test with reference resistors says was plugged."""

ASSUMED_RATIO = 0.01
"""What a resistor of the shelf may be off: metal film is sold with 1 % (common practice)."""

CLOCKS_APART = timedelta(hours=1)
"""A self-test may be dated so much later than now: a clock was set back in between."""


@dataclass(frozen=True, slots=True)
class SelfTest:
    """One self-test of one bench. ``date`` is RFC 3339, UTC; ``repeatability_ohm`` a standard deviation.

    ``wiring`` is that of the adapter it was made through (`Adapter.wiring`), "" for none. ``known_ohm`` is
    how closely its references show what the meter reads (`known_to_ohm`), ``None`` without any or of old.
    """

    maker: str
    model: str
    serial: str
    date: Moment
    plugged: str
    checks: tuple[Check, ...]
    repeatability_ohm: Annotated[float, Field(ge=0.0, allow_inf_nan=False)] | None = None
    wiring: str = ""
    known_ohm: Annotated[float, Field(ge=0.0)] | None = None

    @property
    def passed(self) -> bool:
        """Whether every check passed."""
        return all(check.passed for check in self.checks)


_CODEC = TypeAdapter(SelfTest)


def try_empty(bench: Bench, clearance: Clearance, points: Sequence[int] = ()) -> tuple[Check, ...]:
    """Test with nothing plugged: all points clear of each other, stuck inputs, dead drivers.

    ``points`` are those to test, all of the bench where empty. A bench that cannot sense is tested by its
    ohms, each point against all others. Raises `UnfitError` for a bench that can do neither.
    """
    require_empty(clearance, bench)
    able = bench.capabilities()
    chosen = tuple(points) or tuple(range(1, able.points + 1))
    if able.sense_ohm is None:
        if able.ohms is None:
            raise UnfitError("this bench can neither sense nor measure ohms; there is nothing to test")
        return (_clear_by_ohms(bench, chosen),)
    drives = [0, *(1 << (point - 1) for point in chosen)]
    empty, *answers = bench.sense(drives)
    dead = [point for point, low in zip(chosen, answers, strict=True) if not low >> (point - 1) & 1]
    joined = sorted(
        {
            (min(point, other), max(point, other))
            for point, low in zip(chosen, answers, strict=True)
            for other in points_of(low & ~empty)
            if other != point
        }
    )
    return (
        Check("stuck inputs", not empty, _said(points_of(empty), "low with nothing driven", "none")),
        Check("dead drivers", not dead, _said(dead, "high while driven", "none")),
        Check(
            "clear of each other",
            not joined,
            _said([f"{a} to {b}" for a, b in joined], "joined with nothing plugged", "all points"),
        ),
    )


def try_shorted(bench: Bench, clearance: Clearance, points: Sequence[int]) -> Check:
    """Test with a shorting plug over these points: every one must reach every other one."""
    require_empty(clearance, bench)
    able = bench.capabilities()
    _several(points)
    wanted = point_set(points)
    first = points[0]
    if able.sense_ohm is not None:
        (low,) = bench.sense([1 << (first - 1)])
        missing = points_of(wanted & ~low)
        strange = points_of(low & ~wanted)
        text = _said(missing, f"not joined to point {first} by the shorting plug", "every lead reaches it")
        if strange:
            text += f"; point {first_of(strange)} is joined to it and has no lead there"
        return Check("shorting plug", not missing and not strange, text)
    readings = ((point, bench.resistance(1 << (first - 1), 1 << (point - 1))) for point in points[1:])
    missing = tuple(point for point, ohm in readings if not math.isfinite(ohm))
    return Check(
        "shorting plug", not missing, _said(missing, f"open to point {first}", "every lead reaches it")
    )


def try_references(
    bench: Bench, clearance: Clearance, references: Sequence[Reference], lead_ohm: Mapping[int, float]
) -> Check:
    """Read reference resistors; each must be within the bench's limits of error and its own uncertainty."""
    require_empty(clearance, bench)
    accuracy = _accuracy(bench)
    told, passed = [], True
    for each in references:
        value = bench.resistance(1 << (each.a - 1), 1 << (each.b - 1))
        error = value - lead_ohm.get(each.a, 0.0) - lead_ohm.get(each.b, 0.0) - each.ohm
        limit = accuracy.ohm + accuracy.ratio * each.ohm + each.u_ohm
        passed &= abs(error) <= limit
        found = f"{error:+.3g} ohm" if math.isfinite(error) else "open"
        told.append(f"{each.ohm:g} ohm at {each.a}, {each.b}: {found} (limit {limit:.3g})")
    return Check("reference resistors", passed, "; ".join(told))


def known_to_ohm(accuracy: Accuracy, references: Sequence[Reference]) -> float:
    """Return to how many ohms references that read right show what this meter reads, by the best of them.

    One whose uncertainty nobody stated is taken for `ASSUMED_RATIO` of its ohms.
    """
    return min(
        accuracy.ohm + accuracy.ratio * each.ohm + (each.u_ohm or ASSUMED_RATIO * each.ohm)
        for each in references
    )


def repeatability(
    bench: Bench, clearance: Clearance, a: int, b: int, repeats: int = REPEATS
) -> tuple[Check, float | None]:
    """Read one pair again and again; return the standard deviation of one reading, Ω (JCGM 100, 4.2.2).

    It fails where the deviation alone is over the bench's own limit of error.
    """
    require_empty(clearance, bench)
    accuracy = _accuracy(bench)
    values = [bench.resistance(1 << (a - 1), 1 << (b - 1)) for _ in range(repeats)]
    if not all(math.isfinite(value) for value in values):
        return Check("repeatability", False, f"points {a} and {b} are not joined at every reading"), None
    spread = statistics.stdev(values)
    limit = accuracy.ohm + accuracy.ratio * statistics.fmean(values)
    text = f"standard deviation {spread:.3g} ohm over {repeats} readings (limit {limit:.3g} ohm)"
    return Check("repeatability", spread <= limit, text), spread


# Keeping -----------------------------------------------------------------------------------------


def keep(found: SelfTest, path: Path) -> None:
    """Add a self-test to the end of the file of them, flushed to the disk."""
    with _opened(path) as file:
        file.write(json.dumps(asdict(found), ensure_ascii=False, allow_nan=False) + "\n")
        file.flush()
        os.fsync(file.fileno())


def can_keep(path: Path) -> None:
    """See that a self-test can be kept before the bench is asked. Raises `StoreError`."""
    _opened(path).close()


def _opened(path: Path) -> TextIO:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        return path.open("a", encoding="utf-8", newline="\n")
    except OSError as error:
        raise StoreError(
            f"self-tests cannot be kept in {path}: {error.strerror}",
            cure="Make room or rights there, or name another data folder in LOOMPROOF_HOME.",
        ) from None


def kept(path: Path) -> Iterator[SelfTest]:
    """Yield the self-tests of a file, oldest first; none where there is no file. Raises `InputError`."""
    if not path.exists():
        return
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"the self-tests in {path} cannot be read: {error}",
            cure="Put that file aside and test the bench again.",
            do=Todo.SELFTEST,
        ) from None
    for number, line in enumerate(text.splitlines(), start=1):
        try:
            yield _CODEC.validate_json(line, strict=True)
        except ValidationError as error:
            raise InputError(
                f"{path}, line {number} is no self-test: {fault_of(error)}",
                cure="Take this line out of the file.",
            ) from None


@dataclass(frozen=True, slots=True)
class Standing:
    """What the self-tests of one bench come to, for one adapter on it.

    ``date`` is that of the last one; ``failed`` holds, of each hook-up tested, the last one where it failed;
    ``repeatability_ohm`` is the last standard deviation learned.
    """

    date: str
    failed: tuple[SelfTest, ...] = ()
    repeatability_ohm: float | None = None
    references: str = ""
    """When reference resistors were last read and read right, with what was read; "" for never."""
    references_ohm: float = math.inf
    """How closely those show what the meter reads; inf where that is not known."""

    @property
    def failures(self) -> str:
        """What failed, with which hook-up and when, as text; "" where nothing did."""
        return "; ".join(
            ", ".join(check.name for check in test.checks if not check.passed)
            + f" ({test.plugged} plugged, {test.date})"
            for test in self.failed
        )


def standing(path: Path, identity: Identity, wiring: str = "") -> Standing | None:
    """Return what a bench's self-tests come to, or ``None`` where it had none.

    A test counts until the same hook-up is tested again: nothing plugged, shorting plug and reference
    resistors do not stand for each other, nor does one adapter for another. ``wiring`` is that of the adapter
    to be used (`Adapter.wiring`); tests through another adapter are left out.
    """
    who = (identity.maker, identity.model, identity.serial)
    mine = [
        each
        for each in kept(path)
        if (each.maker, each.model, each.serial) == who and each.wiring in ("", wiring)
    ]
    if not mine:
        return None
    last = {(each.plugged, each.wiring): each for each in mine}
    right = next((each for each in last.values() if each.passed and each.plugged == RESISTORS), None)
    spreads = [each.repeatability_ohm for each in mine if each.repeatability_ohm is not None]
    return Standing(
        max((each.date for each in mine), key=datetime.fromisoformat),
        tuple(each for each in last.values() if not each.passed),
        spreads[-1] if spreads else None,
        "" if right is None else _references(right),
        math.inf if right is None or right.known_ohm is None else right.known_ohm,
    )


def _references(test: SelfTest) -> str:
    read = next((check.text for check in test.checks if check.name == "reference resistors"), "")
    return f"self-test of {test.date[:10]} with resistors: {read}"


def refuse_stale(found: Standing | None, now: datetime, most_days: float | None) -> None:
    """Refuse a bench that failed a self-test, or whose last one is older than so many days.

    ``None`` for the days sets no age. Raises `UnfitError`.
    """
    if found is not None and found.failed:
        raise UnfitError(
            f"the bench failed its self-test: {found.failures}",
            cure="Unplug the loom, mend bench or adapter, and pass the same self-test again.",
            do=Todo.SELFTEST,
        )
    if most_days is None:
        return
    cure = "Unplug the loom and test the bench."
    if found is None:
        raise UnfitError("this bench has had no self-test", cure=cure, do=Todo.SELFTEST)
    age = now.astimezone(UTC) - datetime.fromisoformat(found.date)
    if age < -CLOCKS_APART:
        raise UnfitError(
            f"the bench's last self-test is dated {found.date}, which is still to come",
            cure=f"Set the clock. {cure}",
            do=Todo.SELFTEST,
        )
    if age / timedelta(days=1) > most_days:
        raise UnfitError(
            f"the bench's last self-test is of {found.date}, older than {most_days:g} days",
            cure=cure,
            do=Todo.SELFTEST,
        )


def _clear_by_ohms(bench: Bench, points: Sequence[int]) -> Check:
    whole = point_set(points)
    joined = []
    for point in points:
        alone: PointSet = 1 << (point - 1)
        if whole != alone and math.isfinite(bench.resistance(alone, whole & ~alone)):
            joined.append(point)
    return Check(
        "clear of each other", not joined, _said(joined, "joined with nothing plugged", "all points")
    )


def _accuracy(bench: Bench) -> Accuracy:
    able = bench.capabilities()
    if able.ohms is None or able.accuracy is None:
        raise UnfitError("this bench does not measure ohms, or does not say how well")
    return able.accuracy


def _several(points: Sequence[int]) -> None:
    if len(points) < 2:
        raise UsageError("a shorting plug joins two points or more", cure="Name an adapter with more leads.")


def _said(found: Sequence[object], bad: str, good: str) -> str:
    return f"point {first_of(found)}: {bad}" if found else good
