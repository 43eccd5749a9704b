"""Tables of what was read, claimed and found, as pandas frames.

Units stand in the names of columns (``measured_ohm``); every identifier is text, whatever it looks like;
cavities, wires and parts of one row are joined by a comma and a blank. An open path reads inf.

>>> import loomproof as lp
>>> sealed = lp.verify("tests/records/with_grades/pass.record.json")
>>> table = lp.frames.claims(sealed.document()).set_index("subject")
>>> float(table.loc["BODY:2 to LAMP:2", "limit_ohm"].round(3))
0.133
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from loomproof.api.store import Sealed, Store
from loomproof.bench.adapter import Adapter, parse_adapter
from loomproof.bench.frames import read_set
from loomproof.bench.questions import OPEN
from loomproof.bench.seam import points_of
from loomproof.errors import JournalError
from loomproof.jobs.job import Proof
from loomproof.loom.model import Loom
from loomproof.reports.wires import wires_table
from loomproof.results.document import Document

if TYPE_CHECKING:
    import pandas as pd

_TEXT, _NUMBER, _COUNT, _YES = "string", "float64", "Int64", "boolean"

_READINGS = {
    "run": _TEXT,
    "hook_up": _COUNT,
    "number": _COUNT,
    "time_s": _NUMBER,
    "kind": _TEXT,
    "a": _TEXT,
    "b": _TEXT,
    "resistance_ohm": _NUMBER,
    "voltage_v": _NUMBER,
    "temperature_c": _NUMBER,
    "error": _TEXT,
}
_VALUE = {
    "resistance": "resistance_ohm",
    "insulation": "resistance_ohm",
    "voltage": "voltage_v",
    "diode": "voltage_v",
    "temperature": "temperature_c",
}
"""Which column the answer to a question stands in."""

_CLAIMS = {
    "run": _TEXT,
    "kind": _TEXT,
    "subject": _TEXT,
    "decision": _TEXT,
    "statement": _TEXT,
    "cavities": _TEXT,
    "wires": _TEXT,
    "threshold_ohm": _NUMBER,
    "measured_ohm": _NUMBER,
    "uncertainty_ohm": _NUMBER,
    "expected_ohm": _NUMBER,
    "lower_limit_ohm": _NUMBER,
    "limit_ohm": _NUMBER,
    "bound_ohm": _NUMBER,
    "margin": _NUMBER,
    "meter_wires": _COUNT,
}
_FINDINGS = {
    "run": _TEXT,
    "number": _COUNT,
    "severity": _TEXT,
    "kind": _TEXT,
    "cause": _TEXT,
    "title": _TEXT,
    "cavities": _TEXT,
    "wires": _TEXT,
    "components": _TEXT,
    "repair": _TEXT,
    "key": _TEXT,
}
_HISTORY = {
    "serial": _TEXT,
    "subject": _TEXT,
    "run": _TEXT,
    "ended": _TEXT,
    "measured_ohm": _NUMBER,
    "uncertainty_ohm": _NUMBER,
    "limit_ohm": _NUMBER,
    "moved": _YES,
}
_RUNS = {
    "run": _TEXT,
    "loom": _TEXT,
    "serial": _TEXT,
    "verdict": _TEXT,
    "grade": _TEXT,
    "faults": _COUNT,
    "notes": _COUNT,
    "started": _TEXT,
    "ended": _TEXT,
    "person": _TEXT,
    "bench": _TEXT,
    "signer": _TEXT,
    "trouble": _TEXT,
    "hash": _TEXT,
}


def readings(of: Proof | Sealed | bytes) -> pd.DataFrame:
    """Return one row for each thing that the bench was asked, of a proof, a sealed run or a journal.

    A sense has a row for each set of cavities that was driven (``a``), with those that read low (``b``); the
    others were read from ``a``, joined, to ``b``, joined. Raises `JournalError` for what is no journal.

    >>> import loomproof as lp
    >>> from pathlib import Path
    >>> journal = Path("tests/records/with_grades/pass.journal.jsonl").read_bytes()
    >>> table = lp.frames.readings(journal)
    >>> read = table[table.kind == "resistance"].iloc[0]
    >>> read.a, read.b, float(read.resistance_ohm.round(3))
    ('BODY:1', 'LAMP:1', 0.024)
    """
    journal = of if isinstance(of, bytes) else of.journal
    try:
        rows = list(_lines(journal))
    except KeyError as error:
        raise JournalError(
            f"this is no reading journal of a proof: {error.args[0]} is missing",
            cure="Give the journal of a proof; a retest's and a trace's name no cavities.",
        ) from None
    except (ValueError, TypeError, AttributeError, IndexError) as error:
        raise JournalError(
            f"this is no reading journal: {error}", cure="Give the journal of a proof."
        ) from None
    return _frame(rows, _READINGS)


def claims(of: Proof | Sealed | Document) -> pd.DataFrame:
    """Return one row for each claim of a proof, with its reading, limit and uncertainty (k = 2), Ω.

    ``margin`` is how much of the limit is left unused, from 0 to 1, the uncertainty counted as used.

    >>> import loomproof as lp
    >>> sealed = lp.verify("tests/records/with_grades/pass.record.json")
    >>> lp.frames.claims(sealed.document()).kind.value_counts().to_dict()
    {'isolation': 8, 'continuity': 6, 'resistance': 6, 'stability': 1}
    """
    document = _document(of)
    rows = [
        {
            "run": document.run,
            "kind": claim.kind,
            "subject": claim.subject,
            "decision": claim.decision.value,
            "statement": claim.statement,
            "cavities": _joined(claim.cavities),
            "wires": _joined(claim.wires),
            "threshold_ohm": claim.threshold_ohm,
            "measured_ohm": math.inf if claim.open else claim.measured_ohm,
            "uncertainty_ohm": claim.uncertainty_ohm,
            "expected_ohm": claim.expected_ohm,
            "lower_limit_ohm": claim.lower_limit_ohm,
            "limit_ohm": claim.own_limit_ohm,
            "bound_ohm": claim.bound_ohm,
            "margin": claim.margin,
            "meter_wires": claim.meter_wires,
        }
        for claim in document.claims
    ]
    return _frame(rows, _CLAIMS)


def findings(of: Proof | Sealed | Document) -> pd.DataFrame:
    """Return one row for each finding of a proof, worst first; ``number`` counts from 1.

    >>> import loomproof as lp
    >>> sealed = lp.verify("tests/records/with_grades/fail.record.json")
    >>> lp.frames.findings(sealed.document()).loc[0, ["kind", "wires"]].tolist()
    ['open', 'W2']
    """
    document = _document(of)
    rows = [
        {
            "run": document.run,
            "number": number,
            "severity": found.severity.value,
            "kind": found.kind.value,
            "cause": found.cause,
            "title": found.title,
            "cavities": _joined(found.cavities),
            "wires": _joined(found.wires),
            "components": _joined(found.components),
            "repair": " ".join(found.repair),
            "key": found.identity,
        }
        for number, found in enumerate(document.findings, 1)
    ]
    return _frame(rows, _FINDINGS)


def wires(of: Proof | Sealed | Document) -> pd.DataFrame:
    """Return one row for each wire of the list, with what is claimed of it and its reading, Ω.

    >>> import loomproof as lp
    >>> sealed = lp.verify("tests/records/with_grades/pass.record.json")
    >>> lp.frames.wires(sealed.document()).wire.tolist()
    ['W1', 'W2', 'W3', 'W4', 'W5', 'W6']
    """
    return wires_table(_document(of))


def history(store: Store, loom: Loom | str) -> pd.DataFrame:
    """Return one row for each reading of each joint of a loom over its sealed runs, Ω (k = 2).

    ``moved``: the joint changed, first to last, by more than the uncertainty of the change. Raises as
    `Store.history`.

    >>> import loomproof as lp
    >>> len(lp.frames.history(lp.Store(), "no such loom"))
    0
    """
    rows = [
        {
            "serial": trend.serial,
            "subject": trend.subject,
            "run": point.run,
            "ended": point.ended,
            "measured_ohm": math.inf if point.measured_ohm is None else point.measured_ohm,
            "uncertainty_ohm": point.uncertainty_ohm,
            "limit_ohm": point.limit_ohm,
            "moved": trend.moved,
        }
        for trend in store.history(loom)
        for point in trend.points
    ]
    return _frame(rows, _HISTORY)


def runs(store: Store, loom: Loom | str | None = None) -> pd.DataFrame:
    """Return one row for each run that a store keeps, as its sealed record tells it. Raises as `Store.runs`.

    ``trouble`` says where a record does not hold; nothing else of that row is to be believed.

    >>> import loomproof as lp
    >>> len(lp.frames.runs(lp.Store()))
    0
    """
    rows = [
        {
            **{name: getattr(one.run, name, None) for name in _RUNS},
            "grade": one.grade,
            "signer": one.signer,
            "trouble": one.trouble,
        }
        for one in store.runs(loom)
    ]
    return _frame(rows, _RUNS)


def _frame(rows: Iterable[Mapping[str, object]], columns: Mapping[str, str]) -> pd.DataFrame:
    import pandas as pd

    table = [[row.get(name) for name in columns] for row in rows]
    return pd.DataFrame(table, columns=list(columns)).astype(dict(columns))


def _document(of: Proof | Sealed | Document) -> Document:
    return of if isinstance(of, Document) else of.document


def _joined(names: Iterable[object]) -> str:
    return ", ".join(map(str, names))


def _lines(journal: bytes) -> Iterator[dict[str, object]]:
    """Yield the rows of a journal, of one hook-up or of several joined."""
    head: Mapping[str, Any] = {}
    adapter = Adapter("", ())
    for text in journal.splitlines():
        line = json.loads(text)
        if "schema" in line:
            head = line
            adapter = parse_adapter(head["run"]["adapter_table"], name=str(head["run"]["adapter"]))
            continue
        if not head:
            raise ValueError("it has no header")
        yield from _asked(line, head, adapter)


def _asked(line: Mapping[str, Any], head: Mapping[str, Any], adapter: Adapter) -> Iterator[dict[str, object]]:
    kind, *rest = line["ask"]
    most = head["capabilities"]["points"]
    answer = line.get("answer")
    row: dict[str, object] = {
        "run": head["run"]["run"],
        "hook_up": head["run"].get("hook_up"),
        "number": line["n"],
        "time_s": line["t"],
        "kind": kind,
        "error": line["error"]["message"] if "error" in line else None,
    }

    def cavities(points: str) -> str:
        return _joined(
            adapter.end_of.get(point, f"point {point}") for point in points_of(read_set(points, most))
        )

    if kind == "sense":
        low = answer if isinstance(answer, list) else [None] * len(rest[0])
        for drive, found in zip(rest[0], low, strict=True):
            yield {**row, "a": cavities(drive), "b": None if found is None else cavities(found)}
        return
    if kind in _VALUE:
        if kind != "temperature":
            row |= {"a": cavities(rest[0]), "b": cavities(rest[1])}
        row[_VALUE[kind]] = math.inf if answer == OPEN else answer
    yield row
