"""``workshop.toml``: what never changes from proof to proof in one workshop, and where it is found.

Options of a command go before what stands here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

from loomproof.errors import InputError, Problem, suggestion
from loomproof.jobs.workshop_places import places
from loomproof.loom.identity import toml_of
from loomproof.loom.text import flaw
from loomproof.reports.words import plural
from loomproof.results.entered import DateForm, Entered, Meter, ReferenceStandard


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class Laboratory(_Value):
    """Who tests, for a certificate to show."""

    name: str = ""
    address: str = ""


class Workshop(_Value):
    """What one workshop's file says; "" where it says nothing.

    ``adapter``, ``meter`` and ``reference`` are those of ``bench``: another bench is not read with them.
    ``person`` is who tests. With ``require_calibration`` no real bench with ohms is read unless the
    calibration certificate of its meter is entered and not past its due date.
    """

    bench: str = ""
    adapter: str = ""
    person: str = ""
    authoriser: str = ""
    place: str = ""
    store: str = ""
    dates: DateForm = "YYYY-MM-DD"
    require_calibration: bool = False
    laboratory: Laboratory = Laboratory()
    meter: Meter = Meter()
    reference: ReferenceStandard = ReferenceStandard()

    def serves(self, address: str) -> bool:
        """Whether adapter and meter are those of the bench at this address."""
        return not self.bench or address == self.bench

    def entered(self, address: str, stated: Mapping[str, Any]) -> Entered:
        """Return what a certificate is to show for a proof at this address; what was stated goes first."""
        return Entered(
            **{
                "authoriser": self.authoriser,
                "laboratory": self.laboratory.name,
                "address": self.laboratory.address,
                "dates": self.dates,
                "meter": self.meter if self.serves(address) else Meter(),
                "reference": self.reference if self.serves(address) else ReferenceStandard(),
                **stated,
            }
        )


@dataclass(frozen=True, slots=True)
class Found:
    """A workshop and the file that it stands in; ``None`` where there is no such file."""

    workshop: Workshop
    path: Path | None = None

    @property
    def store(self) -> str | None:
        """Where records go by this file, a relative path taken from its folder; ``None``: it does not say."""
        return self._beside(self.workshop.store)

    def adapter(self, address: str) -> str | None:
        """Return the adapter table for the bench at this address; ``None`` where the file names none."""
        return self._beside(self.workshop.adapter) if self.workshop.serves(address) else None

    def _beside(self, said: str) -> str | None:
        if not said:
            return None
        if self.path is None or said == "in-order" or "://" in said:
            return said
        return str(self.path.parent / Path(said).expanduser())


def find(loom: Path | None = None) -> Found:
    """Return the first workshop that is found; an empty one where there is none. Raises as `read` does."""
    for path in places(loom):
        if path.is_file():
            return Found(read(path), path)
    return Found(Workshop())


def read(path: Path) -> Workshop:
    """Read a workshop's file. Raises `InputError` that names each key at fault by its line."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}") from None
    document, lines = toml_of(data, str(path))
    problems = [document] if isinstance(document, Problem) else []
    if not problems:
        try:
            workshop = Workshop.model_validate(document, strict=True)
        except ValidationError as error:
            found = [_problem(each, lines, str(path)) for each in error.errors()]
            problems = sorted(found, key=lambda problem: problem.row or 0)
        else:
            problems = [
                Problem(f"the text {flaw(text)}", str(path), row=_line(lines, key), column=".".join(key))
                for key, text in _texts(workshop)
                if flaw(text)
            ]
    if problems:
        count = "one problem" if len(problems) == 1 else f"{len(problems)} problems"
        raise InputError(f"{path}: {count} in what the workshop's file says", problems=problems)
    return workshop


def uncalibrated(meter: Meter, day: date) -> str:
    """Say why readings of this meter on this day are not backed by a calibration; "" where they are."""
    name = " ".join(text for text in ("the meter", meter.make, meter.serial) if text)
    if not meter.calibration:
        return f"no calibration certificate of {name} is entered"
    if meter.calibration_due is None:
        return f"when the calibration {meter.calibration} of {name} is due is not entered"
    if meter.expired(day):
        return f"the calibration {meter.calibration} of {name} was due on {meter.calibration_due}"
    return ""


def calibration_said(what: str, meter: Meter, day: date) -> str:
    """Say of a meter, or a reference, which calibration was entered and when it is due, seen from a day."""
    name = " ".join(text for text in ("the workshop's", what, meter.make, meter.serial) if text)
    if not meter.calibration:
        return f"Calibration of {name}: no certificate is entered."
    said = f"Calibration {meter.calibration} of {name}"
    if meter.calibration_due is None:
        return f"{said}: when it is due is not entered."
    late = (day - meter.calibration_due).days
    if late > 0:
        return f"{said}: overdue by {plural(late, 'day')}, it was due {meter.calibration_due}."
    return f"{said}: due {meter.calibration_due}."


def _texts(value: BaseModel, above: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], str]]:
    for name in type(value).model_fields:
        said = getattr(value, name)
        if isinstance(said, BaseModel):
            yield from _texts(said, (*above, name))
        elif isinstance(said, str):
            yield (*above, name), said


def _problem(error: Any, lines: Sequence[str], file: str) -> Problem:
    """Return what pydantic found wrong as a problem with its line and what to do."""
    key = tuple(map(str, error["loc"]))
    value, kind, cure = error["input"], error["type"], ""
    message = f"{value!r} is not what is expected here"
    if kind == "extra_forbidden":
        known = _known(key[:-1])
        message = f"{key[-1]!r} is not known here"
        cure = suggestion(key[-1], known) or f"Known: {', '.join(known)}."
    elif kind == "string_type":
        message, cure = f"{value!r} is not text", "Put it in double quotes."
    elif kind == "bool_type":
        message = f"{value!r} is neither true nor false"
    elif kind.startswith("date"):
        message, cure = f"{value!r} is no date", "Write it like 2027-03-31, without quotes."
    elif kind == "literal_error":
        message, cure = f"{value!r} is not known here", f"Known: {error['ctx']['expected']}."
    elif kind == "model_type":
        message, cure = "a table is expected here", f"Write [{key[-1]}]."
    return Problem(message, file, row=_line(lines, key), column=".".join(key), cure=cure)


def _known(table: tuple[str, ...]) -> tuple[str, ...]:
    model: Any = Workshop
    for name in table:
        model = type(model.model_fields[name].default)
    return tuple(model.model_fields)


def _line(lines: Sequence[str], key: tuple[str, ...]) -> int | None:
    """Return the number of the line that sets a key, in its own table or by its dotted name."""
    table: tuple[str, ...] = ()
    for number, line in enumerate(lines, 1):
        head = re.match(r"\s*\[\s*([\w\"'. -]+?)\s*\]", line)
        if head:
            table = _parts(head[1])
            if table == key:
                return number
            continue
        said = re.match(r"\s*([\w\"'. -]+?)\s*=", line)
        # An inline table holds its keys in the line of its own name.
        if said and (*table, *_parts(said[1])) in (key, key[:1]):
            return number
    return None


def _parts(name: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in name.split("."))
