"""The shelf: every loom with its last proof, found by words; one loom over time; labels; checking files."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from loomproof.errors import UsageError
from loomproof.jobs.archive import BROKEN_OFF_HEADS, RUN_HEADS, Archive, Shelf
from loomproof.jobs.checking import Checked, checked_bytes
from loomproof.jobs.looking_back import JOINT_HEADS, Compared, joint_texts, joints_of, joints_picture
from loomproof.jobs.loom_shelf import LoomLine
from loomproof.reports.listing import Cell
from loomproof.reports.words import VERDICTS, headline, plural, when
from loomproof.results.document import Document
from loomproof.results.findings import Finding
from loomproof.web.answers import Answer, Asked, Data, File, House, Page
from loomproof.web.going_on import traces_of, why_not
from loomproof.web.session import told
from loomproof.web.wanted import stopped_runs

MOST_LOOMS, MOST_RUNS, MOST_JOINTS = 25, 10, 8
"""So many looms, last runs, and joints in a picture are shown."""


def shelf(house: House, asked: Asked) -> Answer:
    """Show the looms of which proofs are kept, the last proofs, and what is not as it was kept."""
    return _shown(house, asked)


def found(house: House, asked: Asked) -> Answer:
    """Give the looms in which the words are found, for the page's script; with ``check`` seals as well."""
    looms, total = found_looms(house, asked.query.get("words", ""), check=bool(asked.query.get("check")))
    return Data({"looms": looms, "said": _counted(looms, total)})


def found_looms(house: House, said: str, *, check: bool) -> tuple[list[dict[str, Any]], int]:
    """Return the looms in which words are found as a page shows them, and how many there are."""
    shelf = house.memory.shelf(house.workplace.store)
    looms, total = shelf.found(said[:200], MOST_LOOMS, check=check)
    return [_row(each) for each in looms], total


def _row(line: LoomLine) -> dict[str, Any]:
    found = {
        "query": urlencode({"name": line.name, "serial": line.serial}),
        "run": line.run,
        "records": line.records,
        "simulated": line.simulated,
        "checked": line.texts is not None,
    }
    if line.texts is None:
        named = f"{line.name}, {line.serial}" if line.serial else line.name
        return {
            **found,
            "loom": named,
            "run_text": line.run,
            "verdict": "…",
            "style": "",
            "ended": "",
            "person": "",
        }
    run, ended, verdict, name, person = line.texts
    return {
        **found,
        "loom": name.text,
        "run_text": run.text,
        "verdict": verdict.text,
        "style": verdict.style,
        "ended": ended.text,
        "person": person.text,
    }


def _counted(looms: list[dict[str, Any]], total: int) -> str:
    some = f", the last {len(looms)} of them here" if len(looms) < total else ""
    return f"{plural(total, 'loom')}{some}"


def cell(text: str | Cell) -> Cell:
    """Return what stands in a list as a cell with its style."""
    return text if isinstance(text, Cell) else Cell(text)


def _shown(
    house: House, asked: Asked, *, error: dict[str, Any] | None = None, result: dict[str, Any] | None = None
) -> Answer:
    everything = bool(asked.query.get("all"))
    kept = Archive(house.workplace.store).shelf(limit=None if everything else MOST_RUNS)
    looms, total = found_looms(house, asked.query.get("words", ""), check=True)
    values = {
        "looms": looms,
        "counted": _counted(looms, total),
        "words": asked.query.get("words", ""),
        "heads": RUN_HEADS,
        "rows": runs_of(kept),
        "broken_heads": BROKEN_OFF_HEADS,
        "broken": _broken_off(house, kept),
        "lost_told": kept.lost_told,
        "troubles": kept.troubles,
        "more": not everything and len(kept.runs) == MOST_RUNS,
        "error": error,
        "checked": result,
    }
    return Page("runs.html", values, 200 if error is None else 409)


def _broken_off(house: House, kept: Shelf) -> list[dict[str, Any]]:
    """Return the runs without a record: texts as the log has them, why none goes on ("" where it can)."""
    out = house.workplace.out
    stopped, traces = stopped_runs(out), traces_of(house)
    return [
        {
            "run": one.run,
            "cells": [cell(text) for text in texts],
            "why_not": why_not(one, stopped, out, traces),
        }
        for one, texts in zip(kept.broken_off, kept.broken_off_texts, strict=True)
    ]


def runs_of(kept: Shelf) -> list[dict[str, Any]]:
    """Return the runs of a shelf, last first: each its name, its texts as the log has them, their style."""
    return [
        {"run": one.run.run, "cells": [cell(text) for text in texts], "simulated": one.simulated}
        for one, texts in reversed(list(zip(kept.runs, kept.run_texts, strict=True)))
    ]


def loom(house: House, asked: Asked) -> Answer:
    """Show one loom over time: its proofs, how its joints moved, the last two proofs beside each other."""
    name, serial, kept = _kept(house, asked)
    joints = joints_of(kept)
    proofs = [one for one in kept.runs if one.verified is not None and not one.trouble]
    pair = [one.verified.document() for one in proofs[-2:] if one.verified is not None]
    values = {
        "name": name,
        "serial": serial,
        "query": urlencode({"name": name, "serial": serial}),
        "heads": RUN_HEADS,
        "rows": runs_of(kept),
        "joint_heads": JOINT_HEADS,
        "joints": [[cell(text) for text in texts] for texts in joint_texts(joints)],
        "drawn": min(len(joints), MOST_JOINTS),
        "times": max((len(joint.points) for joint in joints), default=0),
        "beside": beside(*pair) if len(pair) == 2 else None,
        "left_out": [str(each) for each in kept.left_out],
    }
    return Page("kept_loom.html", values)


def trend(house: House, asked: Asked) -> Answer:
    """Give the picture of how the joints of a loom moved that changed most."""
    name, serial, kept = _kept(house, asked)
    drawn = joints_picture(f"{name}, {serial}" if serial else name, joints_of(kept)[:MOST_JOINTS])
    return File(drawn, "image/png", "trend.png")


def _kept(house: House, asked: Asked) -> tuple[str, str, Shelf]:
    """Return name, serial and runs of the loom that is asked for. Raises `UsageError` where none is kept."""
    name, serial = asked.query.get("name", ""), asked.query.get("serial", "")
    whole = Archive(house.workplace.store).shelf(serial or name)
    runs = tuple(one for one in whole.runs if (one.run.loom, one.run.serial) == (name, serial))
    if not runs:
        raise UsageError(f"nothing is kept of {name[:60]!r} {serial[:60]}", cure="Look on the shelf.")
    return name, serial, Shelf(runs, (), ())


def label(house: House, asked: Asked) -> Answer:
    """Give a label for the loom of a run."""
    archive = Archive(house.workplace.store)
    run = archive.run(asked.names["run"])
    return File(archive.label(run.hash), "application/pdf", "label.pdf")


def verify(house: House, asked: Asked) -> Answer:
    """Check what somebody handed over, a certificate or a sealed record: it is read, and kept nowhere."""
    try:
        if len(asked.files) != 1:
            raise UsageError(
                "one file at a time is checked", cure="Take one certificate (PDF) or sealed record (JSON)."
            )
        (sent,) = asked.files
        one = checked_bytes(sent.name, sent.data, Archive(house.workplace.store))
    except UsageError as error:
        return _shown(house, asked, error=told(error, house.how))
    return _shown(house, asked, result=_result(one, house))


def _result(one: Checked, house: House) -> dict[str, Any]:
    """Return how a file stands, and what it claims, as a page shows it."""
    if one.verified is None:
        assert one.trouble is not None
        wrong = told(one.trouble, house.how)
        return {
            "name": one.name,
            "standing": one.standing,
            "style": "red",
            "lines": [wrong["message"], *wrong["lines"]],
        }
    document = one.verified.document()
    good = one.verified.signer and one.correction is None
    known = (
        []
        if one.verified.signer
        else ["Anybody can make a key. Compare the fingerprint with the signer before you rely on it."]
    )
    return {
        "name": one.name,
        "standing": one.standing,
        "style": "green" if good else "yellow",
        "lines": [*one.lines, *known],
        "loom": f"{document.loom.name}, {document.loom.serial}"
        if document.loom.serial
        else document.loom.name,
        "verdict": document.verdict.value,
        "headline": headline(document.verdict.value, document.grade, document.grade_text),
        "when": when(document.ended),
        "person": document.person,
        "simulated": document.bench.simulated,
        "findings": [finding.title for finding in document.findings],
        "reasons": document.reasons,
    }


def beside(before: Document, after: Document) -> dict[str, Any]:
    """Return one proof beside a later one of the same loom: each side's head, findings, what moved."""
    compared = Compared(before, after)
    changed = compared.changed
    fates: list[tuple[str, Finding | None, Finding | None]] = [
        *(("gone", entry, None) for entry in changed.gone),
        *(("still there", entry, entry) for entry in changed.standing),
        *(("new", None, entry) for entry in changed.new),
    ]
    return {
        "sides": [_side(before), _side(after)],
        "rows": [
            {
                "became": became,
                "sign": _SIGNS[became],
                "before": old.title if old is not None else "",
                "after": new.title if new is not None else "",
            }
            for became, old, new in fates
        ],
        "lines": [line for line in compared.lines if line.startswith("reading:")],
    }


_SIGNS = {"gone": "✓", "still there": "✗", "new": "!"}


def _side(document: Document) -> dict[str, str]:
    return {
        "run": document.run,
        "verdict": document.verdict.value,
        "word": VERDICTS[document.verdict.value],
        "headline": headline(document.verdict.value, document.grade, document.grade_text),
        "when": when(document.ended),
    }
