"""What a journal's header says of a run, and the request that it makes again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, TypedDict, TypeGuard

from loomproof.errors import LoomproofError

if TYPE_CHECKING:
    from loomproof.bench.journal import ReplayBench
    from loomproof.errors import ReplayError
    from loomproof.loom.model import End, Loom
    from loomproof.measuring.clearance import Clearance
    from loomproof.planning.request import InsulationTest, Request
    from loomproof.results.entered import Entered
    from loomproof.results.grade import Grade

MOST_OHM = 1e3
"""Largest repeatability that a header may tell; far above what any ohmmeter has. Our convention."""


def run_header(request: Request, clearance: Clearance | None = None) -> dict[str, object]:
    """Return what a journal's header says of the run, enough to replay it with the description.

    Without a clearance it is what a run was asked for, before any bench was cleared for it.
    """
    from loomproof.bench.adapter import table_of

    return {
        "run": request.run,
        "started": request.started,
        "loom": request.loom.name,
        "loom_digest": request.loom.digest,
        "adapter": request.adapter.name,
        "adapter_table": table_of(request.adapter),
        "answers": dict(request.answers),
        "waived": [str(end) for end in request.waived],
        "person": request.person,
        "place": request.place,
        "inspection": list(request.inspection),
        "serial": request.serial,
        "entered": request.entered.model_dump(mode="json", exclude_defaults=True),
        "repeats": request.repeats,
        "watch_s": request.watch_s,
        "meter_v": None if clearance is None else clearance.meter_v,
        "simulated": clearance is not None and clearance.simulated,
        "last_selftest": "" if clearance is None else clearance.last_selftest,
        "selftest_failures": "" if clearance is None else clearance.selftest_failures,
        "reference_selftest": "" if clearance is None else clearance.reference_selftest,
        "repeatability_ohm": 0.0 if clearance is None else clearance.repeatability_ohm,
        "grade": request.grade,
        "probed": [str(end) for end in request.probed],
        "insulation": None
        if request.insulation is None
        else [request.insulation.volts, request.insulation.dwell_ms],
    }


def request_from(header: Mapping[str, object], loom: Loom) -> Request:
    """Return the request that a journal's header describes, for this description.

    Raises `ReplayError` where the journal is of another description, or its header makes no request.
    """
    from loomproof.bench.adapter import parse_adapter
    from loomproof.errors import ReplayError
    from loomproof.planning.request import Request

    _refuse_others(header)
    if header.get("loom_digest") != loom.digest:
        there = f"{header.get('loom')!r} (description {str(header.get('loom_digest'))[:12]})"
        here = f"{loom.name!r} (description {loom.digest[:12]})"
        if header.get("loom") == loom.name:
            raise ReplayError(
                f"the journal is of {there}, and the description has changed since: it is now {here}",
                cure="Give the description as it was; version control has it.",
            )
        raise ReplayError(
            f"the journal is of the loom {there}, and {here} was given",
            cure="Give the loom that the journal was read on.",
        )
    try:
        found = _Fields(header)
        _cleared_values(header)
        volts = header.get("insulation")
        return Request(
            loom=loom,
            adapter=parse_adapter(found.text("adapter_table"), name=found.text("adapter")),
            run=found.text("run"),
            started=found.moment("started"),
            answers=found.answers("answers"),
            waived=found.ends("waived"),
            person=found.text("person"),
            place=found.text("place"),
            inspection=found.texts("inspection"),
            serial=found.text("serial", ""),
            entered=found.entered("entered"),
            repeats=found.whole("repeats", 1, 100),
            watch_s=found.number("watch_s", 0.0, 3600.0),
            probed=found.ends("probed", ()),
            insulation=None if volts is None else found.insulation("insulation"),
            grade=found.grade("grade"),
        )
    except (ValueError, LoomproofError) as error:
        raise _unusable(error) from None


def replayed_clearance(journal: ReplayBench, request: Request) -> Clearance:
    """Return what stands for the clearance of a run, from its journal's header. Raises `ReplayError`."""
    from loomproof.measuring.clearance import clear_replay

    insulation_v = 0.0 if request.insulation is None else request.insulation.volts
    try:
        values = _cleared_values(journal.run)
    except ValueError as error:
        raise _unusable(error) from None
    return clear_replay(request.loom, journal, request.adapter, insulation_v=insulation_v, **values)


class _Cleared(TypedDict):
    meter_v: float | None
    last_selftest: str
    selftest_failures: str
    reference_selftest: str
    repeatability_ohm: float


def _cleared_values(header: Mapping[str, object]) -> _Cleared:
    """Return what a header says of the run's clearance. Raises `ValueError` that names the value."""
    found = _Fields(header)
    found.flag("simulated")
    return {
        "meter_v": None if header.get("meter_v") is None else found.number("meter_v", -1e6, 1e6),
        "last_selftest": found.moment("last_selftest") if header.get("last_selftest") else "",
        "selftest_failures": found.text("selftest_failures", ""),
        "reference_selftest": found.text("reference_selftest", ""),
        "repeatability_ohm": found.number("repeatability_ohm", 0.0, MOST_OHM),
    }


def _unusable(error: Exception) -> ReplayError:
    from loomproof.errors import ReplayError

    return ReplayError(
        f"line 1 of the journal, its header, can't be used: {error}",
        cure="It was damaged or changed since it was written; take it from a backup, or prove again.",
    )


def _refuse_others(header: Mapping[str, object]) -> None:
    """Refuse a journal that no proof has left, and say what has."""
    from loomproof.errors import ReplayError

    if "retest" in header:
        what = f"of a retest after the run {str(header['retest'])[:40]!r}"
    elif "trace" in header:
        what = f"of a trace of {str(header['trace'])[:40]!r}"
    else:
        return
    raise ReplayError(
        f"the journal is {what}; only a proof can be worked out again",
        cure="It keeps what was asked and answered, line by line. Give the journal of a proof.",
    )


class _Fields:
    """A header's values, each read as what it must be. Raises `ValueError` that names the value."""

    def __init__(self, header: Mapping[str, object]) -> None:
        self.header = header

    def _wrong(self, key: str, expected: str) -> ValueError:
        if key not in self.header:
            return ValueError(f"{key} is missing; {expected} is expected")
        value = self.header[key]
        # Of a number of thousands of digits Python makes no text.
        shown = "far too large" if isinstance(value, int) and abs(value) > 10**30 else repr(value)[:60]
        return ValueError(f"{key} is {shown}; {expected} is expected")

    def text(self, key: str, missing: str | None = None) -> str:
        value = self.header.get(key, missing)
        if not _is_text(value):
            raise self._wrong(key, "a text")
        return str(value)

    def texts(self, key: str, missing: Sequence[str] | None = None) -> tuple[str, ...]:
        value = self.header.get(key, missing)
        if not (isinstance(value, list | tuple) and all(map(_is_text, value))):
            raise self._wrong(key, "a list of texts")
        return tuple(map(str, value))

    def ends(self, key: str, missing: Sequence[str] | None = None) -> tuple[End, ...]:
        from loomproof.loom.model import end_of

        try:
            return tuple(map(end_of, self.texts(key, missing)))
        except ValueError as error:
            raise ValueError(f"{key}: {error}") from None

    def answers(self, key: str) -> dict[str, str]:
        value = self.header.get(key)
        if not (isinstance(value, dict) and all(map(_is_text, (*value, *value.values())))):
            raise self._wrong(key, "an answer for each choice")
        return dict(value)

    def flag(self, key: str) -> bool:
        value = self.header.get(key)
        if not isinstance(value, bool):
            raise self._wrong(key, "true or false")
        return value

    def number(self, key: str, least: float, most: float) -> float:
        value = self.header.get(key)
        if not _is_number(value, least, most):
            raise self._wrong(key, f"a number from {least:g} to {most:g}")
        return float(value)

    def whole(self, key: str, least: int, most: int) -> int:
        value = self.header.get(key)
        if not (isinstance(value, int) and _is_number(value, least, most)):
            raise self._wrong(key, f"a whole number from {least} to {most}")
        return int(value)

    def grade(self, key: str) -> Grade | None:
        """Return the grade demanded, ``None`` where the bench's own was: so in headers from before grades."""
        from loomproof.results.grade import Grade

        value = self.header.get(key)
        if value is None:
            return None
        if value not in set(Grade):
            raise self._wrong(key, "wire, bench or connections")
        return Grade(str(value))

    def entered(self, key: str) -> Entered:
        """Return what was entered for the certificate; nothing in headers from before it was kept."""
        from loomproof.results.entered import Entered

        try:
            return Entered.model_validate(self.header.get(key, {}))
        except ValueError:  # pydantic's own is one
            raise self._wrong(key, "what was entered for the certificate") from None

    def moment(self, key: str) -> str:
        """Return a date with time and zone, as text; far enough from the calendar's ends to count from."""
        text = self.text(key)
        try:
            read = datetime.fromisoformat(text)
        except ValueError:
            read = datetime.min
        if read.tzinfo is None or not 1900 <= read.year <= 9000:
            raise self._wrong(key, "a date with time and zone")
        return text

    def insulation(self, key: str) -> InsulationTest:
        from loomproof.measuring.safety import LONGEST_DWELL_MS
        from loomproof.planning.request import InsulationTest

        value = self.header.get(key)
        if isinstance(value, list) and len(value) == 2:
            volts, dwell_ms = value
            if (
                _is_number(volts, 0.0, 1e6)
                and _is_number(dwell_ms, 1, LONGEST_DWELL_MS)
                and dwell_ms % 1 == 0
            ):
                return InsulationTest(float(volts), int(dwell_ms))
        raise self._wrong(key, f"volts and a dwell of 1 to {LONGEST_DWELL_MS} ms")


def _is_text(value: object) -> bool:
    """Whether a value is a text that can be written down: JSON can spell halves of signs that are none."""
    if not isinstance(value, str):
        return False
    try:
        value.encode()
    except UnicodeEncodeError:
        return False
    return True


def _is_number(value: object, least: float, most: float) -> TypeGuard[float]:
    """Whether a value is a number in this range; JSON of Python's knows nan and infinity as well."""
    return isinstance(value, int | float) and not isinstance(value, bool) and least <= value <= most
