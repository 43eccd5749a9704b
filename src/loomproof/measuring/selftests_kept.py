"""Self-tests as they are kept: one line of a file each, dated, and what those of one bench come to."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Annotated

from pydantic import Field, TypeAdapter

from loomproof.bench.seam import Identity
from loomproof.errors import Todo, UnfitError
from loomproof.measuring.check import Check
from loomproof.measuring.line_file import append, can_append, kept_lines
from loomproof.results.codec import Moment

MOST_OHM = 1e3
"""Largest spread of readings that is taken for one; far above what any ohmmeter has. Our convention."""

RESISTORS = "reference resistors"
"""What a self-test with reference resistors says was plugged."""

STUDY = "reference resistors, by several people"
"""What a study of operators, kept among the self-tests of its bench, says was plugged."""

CLOCKS_APART = timedelta(hours=1)
"""A self-test may be dated so much later than now: a clock was set back in between."""


@dataclass(frozen=True, slots=True)
class ReferenceRead:
    """What one reference resistor read in a self-test.

    ``ohm`` and ``u_ohm`` are what it was said to have, ``error_ohm`` how far the reading lay from that, its
    leads taken off; ``None`` where it read open.
    """

    a: int
    b: int
    ohm: Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
    u_ohm: Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
    error_ohm: Annotated[float, Field(allow_inf_nan=False)] | None = None


@dataclass(frozen=True, slots=True)
class OperatorStudy:
    """What a study of operators came to: so many of them, parts, repeats; what a change of operator adds.

    ``reproducibility_ohm`` is a standard deviation, Ω; 0 where the readings show none.
    """

    operators: Annotated[int, Field(ge=2)]
    parts: Annotated[int, Field(ge=2)]
    repeats: Annotated[int, Field(ge=2)]
    reproducibility_ohm: Annotated[float, Field(ge=0.0, le=MOST_OHM, allow_inf_nan=False)]

    def __str__(self) -> str:
        return f"{self.operators} operators, {self.parts} parts, {self.repeats} repeats"


@dataclass(frozen=True, slots=True)
class SelfTest:
    """One self-test of one bench. ``date`` is RFC 3339, UTC; ``repeatability_ohm`` a standard deviation.

    ``wiring`` is that of the adapter it was made through (`Adapter.wiring`), "" for none. ``known_ohm`` is
    how closely its references show what the meter reads (`known_to_ohm`), ``None`` without any or of old.
    ``read`` is what each reference read; none of old. With a ``study`` it is a study of operators, which is
    kept here because what counts for a proof on this bench is found here; ``model`` is then the bench's whole
    name, as the study's table has it.
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
    read: tuple[ReferenceRead, ...] = ()
    study: OperatorStudy | None = None

    @property
    def bench(self) -> str:
        """The bench by maker, model and serial."""
        return " ".join(filter(None, (self.maker, self.model, self.serial)))

    @property
    def passed(self) -> bool:
        """Whether every check passed."""
        return all(check.passed for check in self.checks)


def line_of(found: SelfTest) -> str:
    """Return a self-test as its line in the file; `of_line` reads it back."""
    plain = asdict(found)
    if not found.read:  # a line of before stays the same line: a store knows it by that
        del plain["read"]
    if found.study is None:
        del plain["study"]
    return json.dumps(plain, ensure_ascii=False, allow_nan=False)


def of_line(line: str) -> SelfTest:
    """Read a self-test's line. Raises pydantic's `ValidationError` for what is none."""
    return _codec().validate_json(line, strict=True)


@cache
def _codec() -> TypeAdapter[SelfTest]:
    return TypeAdapter(SelfTest)


def keep(found: SelfTest, path: Path) -> None:
    """Add a self-test to the end of the file of them, flushed to the disk. Raises `StoreError`."""
    append(path, line_of(found), "self-tests")


def can_keep(path: Path) -> None:
    """See that a self-test can be kept before the bench is asked. Raises `StoreError`."""
    can_append(path, "self-tests")


def kept(path: Path) -> Iterator[SelfTest]:
    """Yield the self-tests of a file, oldest first; none where there is no file. Raises `InputError`."""
    return kept_lines(path, of_line, "self-test")


@dataclass(frozen=True, slots=True)
class Standing:
    """What the self-tests of one bench come to, for one adapter on it.

    ``date`` is that of the last one, "" where only a study was made; ``failed`` holds, of each hook-up
    tested, the last one where it failed; ``repeatability_ohm`` is the last standard deviation learned,
    ``reproducibility_ohm`` that of the newest study, 0 for none, which ``study`` names.
    """

    date: str
    failed: tuple[SelfTest, ...] = ()
    repeatability_ohm: float | None = None
    references: str = ""
    """When reference resistors were last read and read right, with what was read; "" for never."""
    references_ohm: float = math.inf
    """How closely those show what the meter reads; inf where that is not known."""
    reproducibility_ohm: float = 0.0
    study: str = ""

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
    named = " ".join(filter(None, who))
    tests = [each for each in kept(path) if each.wiring in ("", wiring)]
    mine = [each for each in tests if each.study is None and (each.maker, each.model, each.serial) == who]
    studies = [each for each in tests if each.study is not None and each.bench == named]
    if not mine and not studies:
        return None
    last = {(each.plugged, each.wiring): each for each in mine}
    right = next((each for each in last.values() if each.passed and each.plugged == RESISTORS), None)
    spreads = [each.repeatability_ohm for each in mine if each.repeatability_ohm is not None]
    return Standing(
        max((each.date for each in mine), key=datetime.fromisoformat, default=""),
        tuple(each for each in last.values() if not each.passed),
        spreads[-1] if spreads else None,
        "" if right is None else _references(right),
        math.inf if right is None or right.known_ohm is None else right.known_ohm,
        *_newest(studies),
    )


def _newest(studies: Sequence[SelfTest]) -> tuple[float, str]:
    newest = max(studies, key=lambda each: datetime.fromisoformat(each.date), default=None)
    if newest is None or newest.study is None or not newest.study.reproducibility_ohm:
        return 0.0, ""
    return newest.study.reproducibility_ohm, f"study of {newest.date[:10]}: {newest.study}"


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
    if found is None or not found.date:
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
