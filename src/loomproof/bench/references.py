"""Reference resistors that stay on points of the bench, beside the loom: what a meter is held against."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from loomproof.errors import Problem
from loomproof.loom.text import pointed

REFERENCE_COLUMNS = ("reference_to", "reference_ohm", "reference_u_ohm")
"""The columns of an adapter table that hold references; left out of a table that has none."""


@dataclass(frozen=True, slots=True)
class Reference:
    """A reference resistor of ``ohm`` between points ``a`` and ``b``.

    ``u_ohm`` is the expanded uncertainty of that (k = 2), tolerance and leads to it included.
    """

    a: int
    b: int
    ohm: float
    u_ohm: float = 0.0

    @property
    def sets(self) -> tuple[int, int]:
        """Its points, each as a point set."""
        return 1 << (self.a - 1), 1 << (self.b - 1)


def is_reference(cells: Mapping[str, str]) -> bool:
    """Whether a row of an adapter table is that of a reference: it names the point of its other end."""
    return bool(cells["reference_to"])


def read_reference(cells: Mapping[str, str], file: str, row: int) -> tuple[Reference | None, list[Problem]]:
    """Read the row of a reference: ``point``, `REFERENCE_COLUMNS`, and no cavity."""
    problems = []
    points = []
    for column in ("point", "reference_to"):
        text = cells[column]
        if not (text.isascii() and text.isdigit() and int(text) > 0):
            cure = "Points are numbered 1, 2, 3 and so on."
            problems.append(Problem(f"{text!r} is no point", file, row=row, column=column, cure=cure))
            continue
        points.append(int(text))
    if len(points) == 2 and points[0] == points[1]:
        problems.append(Problem("a reference lies between two points", file, row=row, column="reference_to"))
    figures = []
    for column, least in (("reference_ohm", math.ulp(0.0)), ("reference_u_ohm", 0.0)):
        try:
            value = float(pointed(cells[column]) or 0.0)
        except ValueError:
            value = math.nan
        if not least <= value < math.inf:
            cure = "Write ohms, such as 0.47: of the resistor, and of its tolerance and leads together."
            problems.append(
                Problem(f"{cells[column]!r} is no resistance", file, row=row, column=column, cure=cure)
            )
        figures.append(value)
    problems += [
        Problem("a reference goes to no cavity", file, row=row, column=column)
        for column in ("connector", "cavity")
        if cells[column]
    ]
    return (None, problems) if problems else (Reference(*points, *figures), [])


def points_of_all(references: Iterable[Reference]) -> frozenset[int]:
    """Return the points that references stay on."""
    return frozenset(point for each in references for point in (each.a, each.b))


def shared_points(references: Iterable[Reference], used: Iterable[int]) -> list[int]:
    """Return the points that two of these references have, or that a reference has and a lead as well."""
    seen = set(used)
    twice = []
    for each in references:
        twice += [point for point in (each.a, each.b) if point in seen]
        seen |= {each.a, each.b}
    return twice
