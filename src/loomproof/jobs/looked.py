"""Which look-first steps of a run's findings were ticked: kept in a file beside the run's others.

A tick says that somebody pressed it, and when; it proves nothing and changes no finding. What a look showed
is an answer (`loomproof.jobs.answering`), and is kept with the record. The file only grows.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from pydantic import TypeAdapter

from loomproof.errors import UsageError
from loomproof.jobs.files import name_of, rfc3339
from loomproof.measuring.line_file import append, kept_lines
from loomproof.results.codec import Moment
from loomproof.results.document import Document


@dataclass(frozen=True)
class Look:
    """A step of a finding (its number, from 1) that was ticked or unticked; ``at`` is RFC 3339, UTC."""

    finding: int
    place: str
    done: bool
    at: Moment


_LINE: TypeAdapter[Look] = TypeAdapter(Look)


def kept_in(out: Path, run: str) -> Path:
    """Return where the ticks of a run are kept in the folder of results."""
    return out / f"{name_of(run, '')}.looked.jsonl"


def looked(out: Path, run: str) -> Mapping[tuple[int, str], Look]:
    """Return what is ticked of a run, by finding and step. Raises `InputError` for a file that holds none."""
    found: dict[tuple[int, str], Look] = {}
    aside = "Put that file aside: its ticks are lost, and the steps begin anew."
    for each in kept_lines(kept_in(out, run), _LINE.validate_json, "tick", aside, None):
        if each.done:
            found[each.finding, each.place] = each
        else:
            found.pop((each.finding, each.place), None)
    return found


def look(
    out: Path, document: Document, finding: int, place: str, *, done: bool, moment: datetime
) -> Mapping[tuple[int, str], Look]:
    """Tick a step of a finding, or take its tick back; return what is ticked then.

    What is so already stays as it was dated first. Raises `UsageError` for a step that the finding does not
    have, `StoreError` where nothing can be kept.
    """
    entries = dict(enumerate(document.findings, 1))
    if finding not in entries or place not in entries[finding].places:
        raise UsageError(
            f"finding {finding} of run {document.run} has no such step any more",
            cure="Load the page again, and look at what stands there now.",
        )
    before = looked(out, document.run)
    if done is ((finding, place) in before):
        return before
    made = Look(finding, place, done, rfc3339(moment))
    line = json.dumps(asdict(made), ensure_ascii=False)
    append(
        kept_in(out, document.run), line, "ticks", "Make room or rights there: they are kept with the run."
    )
    return looked(out, document.run)
