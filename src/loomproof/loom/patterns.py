"""What a loom of a kind normally holds: a table in generic terms, to start a description and to ask by.

The tables are ``data/*.csv``, one for each pattern, and are there to be edited: each row is a circuit with
its purpose, its designation of DIN 72552, the words by which a description speaks of it, whether an engine
runs without it, where its wires usually go, what to ask where it is missing, and a source, or that it is
common practice. Nothing of them is ever taken for what a loom at hand has.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files

from loomproof.errors import InputError
from loomproof.loom.conversion import Circuit


class Without(StrEnum):
    """Whether an engine runs without the circuit."""

    NO = "no"
    POORLY = "poorly"
    YES = "yes"


@dataclass(frozen=True, slots=True)
class Usual:
    """A circuit that looms of a kind normally have. ``ask`` is "" where another table asks already."""

    circuit: str
    purpose: str
    designation: str
    words: tuple[str, ...]
    without: Without
    usually: str
    ask: str
    source: str


def patterns() -> tuple[str, ...]:
    """Return the names of the patterns that are there."""
    folder = files("loomproof.loom") / "data"
    return tuple(
        sorted(entry.name[: -len(".csv")] for entry in folder.iterdir() if entry.name.endswith(".csv"))
    )


@cache
def pattern(name: str) -> tuple[Usual, ...]:
    """Return the circuits of a pattern. Raises `InputError` where there is none of this name."""
    if name not in patterns():
        raise InputError(f"there is no pattern {name!r}", cure=f"There is {', '.join(patterns())}.")
    text = (files("loomproof.loom") / "data" / f"{name}.csv").read_text(encoding="utf-8")
    return tuple(
        Usual(
            row["circuit"],
            row["purpose"],
            row["designation"],
            tuple(row["words"].split("|")),
            Without(row["without"]),
            row["usually"],
            row["ask"],
            row["source"],
        )
        for row in csv.DictReader(text.splitlines())
    )


def usual_of(rows: Sequence[Usual], circuit: Circuit) -> Usual | None:
    """Return which of these a circuit is, by the longest of their words in its name and purpose.

    A designation alone says little: 85 is the coil of any relay.
    """
    said = f"{circuit.name} {circuit.purpose}".casefold().replace("-", " ")
    length, found = 0, None
    for row in rows:
        for word in row.words:
            if length < len(word) and word.replace("-", " ") in said:
                length, found = len(word), row
    return found
