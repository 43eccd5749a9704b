"""How a data set of Parquet files is laid out: its tables, its version, what it says of itself.

``FOLDER/TABLE/month=2026-11/part-00000001.parquet``, with ``about.json`` beside the tables. ``month`` is that
of the run's end (of a repair: when it was done), UTC. Whoever only asks imports nothing that a store needs.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from loomproof.errors import StoreError, Todo

VERSION = 4
"""Of the data set's layout: raised when a column changes its name, type or meaning, or one is added that a
question needs. 1: runs, findings, places, repairs. 2: what each proof adds to the sums. 3: what joints
read. 4: causes that were confirmed at the repair, and how far they go in ``about.json``."""

SCHEMA: Mapping[str, Mapping[str, type]] = {
    "runs": {
        "run_id": int,
        "run": str,
        "kind": str,
        "loom": str,
        "serial": str,
        "digest": str,
        "bench": str,
        "person": str,
        "verdict": str,
        "faults": int,
        "notes": int,
        "started": str,
        "ended": str,
        "hash": str,
        "simulated": int,
        "first_proof": int,
        "mended_s": int,
        "new_faults": int,
    },
    "findings": {"run_id": int, "number": int, "kind": str, "cause": str, "severity": str, "title": str},
    "places": {"run_id": int, "number": int, "what": str, "name": str},
    "fault_counts": {"simulated": int, "what": str, "name": str, "times": int},
    "readings": {
        "run_id": int,
        "joint": str,
        "open": int,
        "micro_ohm": int,
        "uncertainty_micro_ohm": int,
        "limit_micro_ohm": int,
    },
    "repairs": {"run_id": int, "finding": int, "person": str, "done": str, "words": str},
    "confirmed": {
        "id": int,
        "run_id": int,
        "finding": int,
        "person": str,
        "said": str,
        "cause": str,
        "first_cause": str,
        "rank": int,
        "among": int,
        "fault": str,
    },
}
"""Tables and their columns, with types: whole numbers of 64 bits, or text.

The last four of a run are what a proof adds to the sums over all (`records.counting`), empty of a correction:
whether its bench is simulated, whether it is its loom's first proof, the seconds from the loom's first failed
proof since it last passed, where this one passed after it (else -1), and how many of its faults no earlier
proof of the loom told. ``fault_counts`` has, summed up over the runs of its part and month, of how many such
faults each name is the kind or one of the connectors, wires or components ("kind", "connector", …).
``readings`` are those of joints: ``open`` 1 (and 0 µΩ) where one was open, a limit of 0 is none.
``confirmed`` are causes that people confirmed at the repair, a later one of a finding in place of an earlier
("withdrawn": none stands): ``rank`` says in which place the finding had told it, from 1, of ``among`` (0:
nowhere), ``first_cause`` which cause it had told first, ``fault`` what the finding is known again by.
"""

TABLES = tuple(SCHEMA)


class Persons(Enum):
    """What becomes of people's names in a data set."""

    KEPT = "kept"
    LEFT_OUT = "left out"
    PSEUDONYMS = "pseudonyms"


@dataclass(frozen=True, slots=True)
class About:
    """What ``about.json`` says: layout, which store, how far it goes and with which record it ends,
    and what became of people's names."""

    version: int
    store: str
    run_id: int
    run_hash: str
    repair_id: int
    persons: str
    part: int
    confirmed_id: int = 0


@dataclass(frozen=True, slots=True)
class Made:
    """How much was added to a data set."""

    runs: int
    findings: int
    repairs: int
    confirmed: int = 0


_ABOUT = "about.json"


def read_about(folder: Path) -> About:
    """Return what a data set says of itself; `StoreError` where there is none, or one of another version."""
    path = folder / _ABOUT
    try:
        about = About(**json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError) as error:
        raise StoreError(
            f"{folder}: no data set: {_found_at(folder, error)}",
            cure="Name the folder into which one was made.",
            do=Todo.DATASET,
        ) from error
    if about.version != VERSION:
        raise StoreError(
            f"{path}: a data set of version {about.version}, this program reads {VERSION}",
            cure="Make it again in an empty folder.",
        )
    return about


def _found_at(folder: Path, error: Exception) -> str:
    """Say what is there instead of a data set; ``error`` is of reading what it says of itself."""
    if not folder.exists():
        return "there is no such folder"
    if not folder.is_dir():
        return "it is a file, no folder"
    try:
        there = {path.name for path in folder.iterdir()}
    except OSError as closed:
        return f"what is in it cannot be read: {closed.strerror}"
    if _ABOUT in there and isinstance(error, OSError):
        return f"its {_ABOUT} cannot be read: {error.strerror}"
    if _ABOUT in there:
        return f"its {_ABOUT} is not as one is written here"
    return f"no {_ABOUT} is in it, which says what a data set is of" if there else "nothing is in it"
