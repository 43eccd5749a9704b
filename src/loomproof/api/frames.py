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

import datetime
import json
import math
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from loomproof.api.columns import (
    CLAIMS,
    CONFIRMED,
    DRIFT,
    FAULTS,
    FINDINGS,
    FIRST_PASS,
    HISTORY,
    MENDING,
    READINGS,
    RUNS,
    SURVIVAL,
    VALUE,
    frame,
)
from loomproof.api.store import Sealed, Store
from loomproof.bench.adapter import Adapter, parse_adapter
from loomproof.bench.frames import read_set
from loomproof.bench.questions import OPEN
from loomproof.bench.seam import points_of
from loomproof.errors import JournalError
from loomproof.jobs.job import Proof
from loomproof.loom.model import Loom
from loomproof.records.store import open_store
from loomproof.reports.wires import wires_table
from loomproof.reports.words import cause
from loomproof.results.document import Document

if TYPE_CHECKING:
    import pandas as pd

    from loomproof.fleet.tables import Tables


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
    return frame(rows, READINGS)


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
    return frame(rows, CLAIMS)


def findings(of: Proof | Sealed | Document) -> pd.DataFrame:
    """Return one row for each finding of a proof, worst first; ``number`` counts from 1.

    ``cause`` is the code of the results document, ``cause_in_words`` what readings and answers leave of it:
    ``broken_wire`` is any wire that reads open, and ``bad contact or broken wire`` until its place is known.

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
            "cause_in_words": cause(found),
            "title": found.title,
            "cavities": _joined(found.cavities),
            "wires": _joined(found.wires),
            "components": _joined(found.components),
            "repair": " ".join(found.repair),
            "key": found.identity,
        }
        for number, found in enumerate(document.findings, 1)
    ]
    return frame(rows, FINDINGS)


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
    return frame(rows, HISTORY)


def runs(store: Store, loom: Loom | str | None = None) -> pd.DataFrame:
    """Return one row for each run that a store keeps, as its sealed record tells it. Raises as `Store.runs`.

    ``trouble`` says where a record does not hold; nothing else of that row is to be believed.

    >>> import loomproof as lp
    >>> len(lp.frames.runs(lp.Store()))
    0
    """
    rows = [
        {
            **{name: getattr(one.run, name, None) for name in RUNS},
            "grade": one.grade,
            "signer": one.signer,
            "trouble": one.trouble,
        }
        for one in store.runs(loom)
    ]
    return frame(rows, RUNS)


def faults(of: Store | Path, *, simulated: bool = False) -> pd.DataFrame:
    """Return how many faults there are by kind, connector, wire, component, loom, month, bench and person.

    The most frequent names of each. ``of`` is a store, or the folder of a data set; what is counted stands
    beside the records and none is opened. On real benches, or with ``simulated`` on simulated ones. Raises
    `StoreError` where it can't be asked, as all the frames below.

    >>> import loomproof as lp
    >>> len(lp.frames.faults(lp.Store()))
    0
    """
    from loomproof.fleet import questions

    with _tables(of) as tables:
        found = questions.ask(tables)[simulated].faults
    rows = (
        {"dimension": dimension, "name": name, "faults": count}
        for dimension, counts in found.items()
        for name, count in counts
    )
    return frame(rows, FAULTS)


def first_pass(of: Store | Path, *, simulated: bool = False) -> pd.DataFrame:
    """Return one row for each month: looms whose first proof of all was in it, and how many passed that.

    >>> import loomproof as lp
    >>> lp.frames.first_pass(lp.Store()).columns.tolist()
    ['month', 'looms', 'passed']
    """
    from loomproof.fleet import questions

    with _tables(of) as tables:
        return frame(map(asdict, questions.ask(tables)[simulated].first_pass), FIRST_PASS)


def mending(of: Store | Path, *, simulated: bool = False) -> pd.DataFrame:
    """Return one row: how often a loom failed and passed later, and seconds in which half and nine tenths
    did.

    >>> import loomproof as lp
    >>> int(lp.frames.mending(lp.Store()).times[0])
    0
    """
    from loomproof.fleet import questions

    with _tables(of) as tables:
        return frame([asdict(questions.ask(tables)[simulated].mending)], MENDING)


def drift(of: Store | Path, *, simulated: bool = False) -> pd.DataFrame:
    """Return one row for each joint that drifts towards its limit, soonest first; intervals are of 95 %.

    ``meets`` is the day on which its line meets the limit; missing where that is too far away to tell.
    Joints are those of looms with a serial number: without one, a name may stand for many looms, whose
    joints would be laid together as one, so that their proofs are left out.

    >>> import loomproof as lp
    >>> len(lp.frames.drift(lp.Store()))
    0
    """
    from loomproof.fleet import joints

    with _tables(of) as tables:
        found = joints.drift(tables, simulated=simulated).drifting
    days = ("meets", "meets_from", "meets_to")
    rows = ({**asdict(one), **{name: _day(getattr(one, name)) for name in days}} for one in found)
    return frame(rows, DRIFT)


def survival(of: Store | Path, *, simulated: bool = False) -> pd.DataFrame:
    """Return one row for each stretch of days, since joints' first proofs, in which some were lost.

    They were lost after ``after_days`` and up to ``days``; ``share`` is still good after that (Turnbull's
    estimate), ``low`` and ``high`` its 95 % interval and ``error`` its standard deviation, from looms drawn
    again by chance with all their joints. Of fewer than ten looms nothing is known of that: 0, 1 and 0.5.
    Looms without a serial number are left out, as in `drift`.

    >>> import loomproof as lp
    >>> len(lp.frames.survival(lp.Store()))
    0
    """
    from loomproof.fleet import joints

    with _tables(of) as tables:
        return frame(map(asdict, joints.survival(tables, simulated=simulated).steps), SURVIVAL)


def confirmed(of: Store | Path, *, simulated: bool = False) -> pd.DataFrame:
    """Return one row for each fault whose cause was confirmed at the repair, by what was said of it last.

    ``number`` is that of the finding in its run; ``rank`` says in which place the finding had told cause and
    place, from 1, of ``among`` (0: it had not told them), ``first_cause`` which cause it had told first.

    >>> import loomproof as lp
    >>> len(lp.frames.confirmed(lp.Store()))
    0
    """
    from loomproof.fleet import causes

    with _tables(of) as tables:
        return frame(map(asdict, causes.confirmed(tables, simulated=simulated).cases), CONFIRMED)


def _day(day: datetime.date | None) -> str | None:
    return None if day is None else day.isoformat()


@contextmanager
def _tables(of: Store | Path) -> Iterator[Tables]:
    from loomproof.fleet.tables import of_dataset, of_store

    if isinstance(of, Path):
        with of_dataset(of) as tables:
            yield tables
    else:
        with open_store(of.address) as opened, of_store(opened.url) as tables:
            yield tables


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
    if kind in VALUE:
        if kind != "temperature":
            row |= {"a": cavities(rest[0]), "b": cavities(rest[1])}
        row[VALUE[kind]] = math.inf if answer == OPEN else answer
    yield row
