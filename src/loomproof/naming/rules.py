"""The rules by which ends are suggested: a table, of which each row says when it holds, why and whence."""

from __future__ import annotations

import csv
import operator
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from loomproof.loom.patterns import Usual, pattern
from loomproof.naming.answers import ENGINE

_SIGNS = {">=": operator.ge, "<=": operator.le, "=": operator.eq}


@dataclass(frozen=True, slots=True)
class Rule:
    """A row of the table. ``when`` is figure, sign and number, all of which must hold."""

    name: str
    about: str
    when: tuple[tuple[str, str, float], ...]
    circuit: str
    stem: str
    reason: str
    source: str

    def holds(self, figures: Mapping[str, float]) -> bool:
        """Whether all of its conditions hold; of a figure that nobody knows none does."""
        return all(
            figure in figures and _SIGNS[sign](figures[figure], number) for figure, sign, number in self.when
        )


@cache
def rules() -> tuple[Rule, ...]:
    """Return the rules of the table."""
    text = (files("loomproof.naming") / "data" / "suggestions.csv").read_text(encoding="utf-8")
    return tuple(
        Rule(
            row["rule"],
            row["about"],
            tuple(_condition(each) for each in row["when"].split()),
            row["circuit"],
            row["stem"],
            row["reason"],
            row["source"],
        )
        for row in csv.DictReader(text.splitlines())
    )


def _condition(text: str) -> tuple[str, str, float]:
    found = re.fullmatch(r"([a-z_]+)(>=|<=|=)([0-9.]+)", text)
    if found is None:
        raise ValueError(f"{text!r} in the table of suggestions is no condition such as size>=2")
    return found[1], found[2], float(found[3])


def usual(circuit: str) -> Usual:
    """Return the row of the engine's pattern that a rule speaks of."""
    return next(row for row in pattern(ENGINE) if row.circuit == circuit)
