"""What a journal's header says of a run, and the request that it makes again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from loomproof.errors import LoomproofError

if TYPE_CHECKING:
    from loomproof.flow import Request
    from loomproof.loom.model import Loom
    from loomproof.proof.insulating import InsulationTest


def run_header(request: Request) -> dict[str, object]:
    """Return what a journal's header says of the run, enough to replay it with the description."""
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
        "repeats": request.repeats,
        "watch_s": request.watch_s,
        "meter_v": request.meter_v,
        "simulated": request.simulated,
        "last_selftest": request.last_selftest,
        "selftest_failures": request.selftest_failures,
        "repeatability_ohm": request.repeatability_ohm,
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
    from loomproof.flow import Request
    from loomproof.loom.model import end_of

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
        fields = dict(header)
        adapter = parse_adapter(str(fields["adapter_table"]), name=str(fields["adapter"]))
        answers, waived, inspection = fields["answers"], fields["waived"], fields["inspection"]
        assert isinstance(answers, dict)
        assert isinstance(waived, list)
        assert isinstance(inspection, list)
        meter_v = fields["meter_v"]
        return Request(
            loom=loom,
            adapter=adapter,
            run=str(fields["run"]),
            started=str(fields["started"]),
            answers={str(name): str(answer) for name, answer in answers.items()},
            waived=tuple(end_of(str(text)) for text in waived),
            person=str(fields["person"]),
            place=str(fields["place"]),
            inspection=tuple(str(note) for note in inspection),
            repeats=int(str(fields["repeats"])),
            watch_s=float(str(fields["watch_s"])),
            meter_v=None if meter_v is None else float(str(meter_v)),
            simulated=bool(fields["simulated"]),
            last_selftest=str(fields["last_selftest"]),
            selftest_failures=str(fields.get("selftest_failures", "")),
            repeatability_ohm=float(str(fields["repeatability_ohm"])),
            probed=tuple(end_of(str(text)) for text in _texts(fields.get("probed", []))),
            insulation=_insulation_from(fields.get("insulation")),
        )
    except (KeyError, ValueError, AssertionError, LoomproofError) as error:
        raise ReplayError(
            f"line 1 of the journal, its header, can't be used: {error}",
            cure="It was damaged or changed since it was written; take it from a backup, or prove again.",
        ) from None


def _texts(field: object) -> Sequence[str]:
    assert isinstance(field, list)
    return [str(text) for text in field]


def _insulation_from(field: object) -> InsulationTest | None:
    from loomproof.proof.insulating import InsulationTest

    if field is None:
        return None
    volts, dwell_ms = field if isinstance(field, list) and len(field) == 2 else (None, None)
    return InsulationTest(float(str(volts)), int(str(dwell_ms)))
