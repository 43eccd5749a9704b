"""What a journal's header says of a run, and the request that it makes again."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, Strict, ValidationError

from loomproof.bench.adapter import parse_adapter, table_of
from loomproof.bench.journal import ReplayBench
from loomproof.errors import LoomproofError, ReplayError
from loomproof.loom.ends import End
from loomproof.loom.model import Loom
from loomproof.measuring.clearance import Clearance, clear_replay
from loomproof.measuring.safety import LONGEST_DWELL_MS
from loomproof.measuring.selftests_kept import MOST_OHM
from loomproof.planning.request import InsulationTest, Request
from loomproof.results.codec import Moment, Text, fault_of
from loomproof.results.entered import Entered
from loomproof.results.grade import Grade
from loomproof.results.learned import Learned
from loomproof.results.places import KnownFarads


def run_header(request: Request, clearance: Clearance | None = None) -> dict[str, object]:
    """Return what a journal's header says of the run, enough to replay it with the description.

    Without a clearance it is what a run was asked for, before any bench was cleared for it.
    """
    header: dict[str, object] = {
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
        "reference_u_ohm": _finite(math.inf if clearance is None else clearance.reference_u_ohm),
        "repeatability_ohm": 0.0 if clearance is None else clearance.repeatability_ohm,
        "controls": clearance is not None and clearance.controls,
        "beside": clearance is not None and clearance.beside,
        "grade": request.grade,
        "locate": request.locate,
        "place_within_m": request.place_within_m,
        "steady_places": request.steady_places,
        "with_bounds": request.with_bounds,
        "learn_capacitance": request.learn_capacitance,
        "known_farads": None if request.known_farads is None else asdict(request.known_farads),
        "probed": [str(end) for end in request.probed],
        "insulation": None
        if request.insulation is None
        else [request.insulation.volts, request.insulation.dwell_ms],
    }
    if request.learned is not None:  # headers of a store that has nothing confirmed are as they always were
        header["learned"] = asdict(request.learned)
    if clearance is not None and clearance.reproducibility_ohm:  # likewise of a bench without a study
        header["reproducibility_ohm"] = clearance.reproducibility_ohm
        header["reproducibility_study"] = clearance.reproducibility_study
    return header


def _finite(ohm: float) -> float | None:
    return ohm if math.isfinite(ohm) else None


def request_from(header: Mapping[str, object], loom: Loom) -> Request:
    """Return the request that a journal's header describes, for this description.

    Raises `ReplayError` where the journal is of another description, or its header makes no request.
    """
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
    found = _read(header)
    try:
        return Request(
            loom=loom,
            adapter=parse_adapter(found.adapter_table, name=found.adapter),
            insulation=None if found.insulation is None else InsulationTest(*found.insulation),
            **{name: getattr(found, name) for name in _OF_REQUEST},
        )
    except LoomproofError as error:
        raise _unusable(error) from None


def replayed_clearance(journal: ReplayBench, request: Request) -> Clearance:
    """Return what stands for the clearance of a run, from its journal's header. Raises `ReplayError`."""
    found = _read(journal.run)
    return clear_replay(
        request.loom,
        journal,
        request.adapter,
        insulation_v=0.0 if request.insulation is None else request.insulation.volts,
        meter_v=found.meter_v,
        last_selftest=found.last_selftest,
        selftest_failures=found.selftest_failures,
        reference_selftest=found.reference_selftest,
        reference_u_ohm=math.inf if found.reference_u_ohm is None else found.reference_u_ohm,
        repeatability_ohm=found.repeatability_ohm,
        controls=found.controls,
        beside=found.beside,
        reproducibility_ohm=found.reproducibility_ohm,
        reproducibility_study=found.reproducibility_study,
    )


class _Header(BaseModel):
    """A header's values; what has a default was not in headers of earlier versions."""

    model_config = ConfigDict(frozen=True)

    run: Text
    started: Moment
    adapter: Text
    adapter_table: Text
    answers: dict[Text, Text]
    waived: tuple[End, ...]
    person: Text
    place: Text
    inspection: tuple[Text, ...]
    serial: Text = ""
    entered: Entered = Entered()
    repeats: Annotated[int, Strict(), Field(ge=1, le=100)]
    watch_s: Annotated[float, Strict(), Field(ge=0.0, le=3600.0)]
    meter_v: Annotated[float, Strict(), Field(ge=-1e6, le=1e6)] | None = None
    simulated: Annotated[bool, Strict()]
    last_selftest: Literal[""] | Moment = ""
    selftest_failures: Text = ""
    reference_selftest: Text = ""
    reference_u_ohm: Annotated[float, Strict(), Field(ge=0.0, le=MOST_OHM)] | None = 0.0
    repeatability_ohm: Annotated[float, Strict(), Field(ge=0.0, le=MOST_OHM)]
    reproducibility_ohm: Annotated[float, Strict(), Field(ge=0.0, le=MOST_OHM)] = 0.0
    reproducibility_study: Text = ""
    controls: Annotated[bool, Strict()] = False
    beside: Annotated[bool, Strict()] = False
    locate: Annotated[bool, Strict()] = False
    place_within_m: Annotated[float, Strict(), Field(ge=0.0, le=100.0)] = 0.0
    steady_places: Annotated[bool, Strict()] = False
    with_bounds: Annotated[bool, Strict()] = False
    learn_capacitance: Annotated[bool, Strict()] = False
    known_farads: KnownFarads | None = None
    learned: Learned | None = None
    grade: Grade | None = None
    probed: tuple[End, ...] = ()
    insulation: (
        tuple[
            Annotated[float, Strict(), Field(ge=0.0, le=1e6)],
            Annotated[int, Strict(), Field(ge=1, le=LONGEST_DWELL_MS)],
        ]
        | None
    ) = None


_OF_REQUEST = (
    *("run", "started", "answers", "waived", "person", "place", "inspection", "repeats", "watch_s", "probed"),
    *("serial", "entered", "grade", "locate", "place_within_m", "learn_capacitance", "known_farads"),
    "learned",
    "steady_places",
    "with_bounds",
)


def _read(header: Mapping[str, object]) -> _Header:
    try:
        return _Header.model_validate(header)
    except ValidationError as error:
        raise _unusable(fault_of(error)) from None


def _unusable(error: object) -> ReplayError:
    return ReplayError(
        f"line 1 of the journal, its header, can't be used: {error}",
        cure="It was damaged or changed since it was written; take it from a backup, or prove again.",
    )


def _refuse_others(header: Mapping[str, object]) -> None:
    """Refuse a journal that no proof has left, and say what has."""
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
