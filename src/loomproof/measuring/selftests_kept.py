"""Self-tests as they are kept: one line of a file each, dated, and what those of one bench come to."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated, TextIO

from pydantic import Field, TypeAdapter, ValidationError

from loomproof.bench.seam import Identity
from loomproof.errors import InputError, StoreError, Todo, UnfitError
from loomproof.measuring.check import Check
from loomproof.results.codec import Moment, fault_of

RESISTORS = "reference resistors"
"""What a self-test with reference resistors says was plugged."""

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
    def bench(self) -> str:
        """The bench by maker, model and serial."""
        return " ".join(filter(None, (self.maker, self.model, self.serial)))

    @property
    def passed(self) -> bool:
        """Whether every check passed."""
        return all(check.passed for check in self.checks)


_CODEC = TypeAdapter(SelfTest)


def line_of(found: SelfTest) -> str:
    """Return a self-test as its line in the file; `of_line` reads it back."""
    return json.dumps(asdict(found), ensure_ascii=False, allow_nan=False)


def of_line(line: str) -> SelfTest:
    """Read a self-test's line. Raises pydantic's `ValidationError` for what is none."""
    return _CODEC.validate_json(line, strict=True)


def keep(found: SelfTest, path: Path) -> None:
    """Add a self-test to the end of the file of them, flushed to the disk."""
    with _opened(path) as file:
        file.write(line_of(found) + "\n")
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
            yield of_line(line)
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
