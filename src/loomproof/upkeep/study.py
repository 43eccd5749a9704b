"""A repeatability and reproducibility study: operators × parts × repeats, each operator reads each part.

Analysis of variance of the crossed design with all factors random, and the components of variance from its
mean squares (D. C. Montgomery, Introduction to Statistical Quality Control, the chapter on measurement
systems; ISO 5725-2 has the words repeatability and reproducibility; from memory). The interaction of operator
and part is never pooled into the error: where there is none its component comes out near nothing by itself.
Negative components are 0.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from loomproof.errors import UsageError

MOST_SHARE = 0.3
"""Over so much of the total spread a measuring system is usually not taken (common practice); 0.1 is good."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: who plugged and read, which part, and what was read, Ω."""

    operator: str
    part: str
    ohm: float


@dataclass(frozen=True, slots=True)
class Source:
    """One row of the analysis of variance: sum of squares, Ω², degrees of freedom, F and its chance.

    ``f`` and ``chance`` are ``None`` for the repeats, and where repeats differ by nothing.
    """

    name: str
    squares: float
    freedom: int
    f: float | None = None
    chance: float | None = None

    @property
    def mean_square(self) -> float:
        """Sum of squares over degrees of freedom, Ω²."""
        return self.squares / self.freedom


@dataclass(frozen=True, slots=True)
class Study:
    """What a study comes to; standard deviations in Ω.

    ``repeatability_ohm`` is that of one operator reading one part again, ``operator_ohm`` and
    ``interaction_ohm`` what operators add, alike for all parts and from part to part, ``part_ohm`` that of
    the parts themselves.
    """

    operators: int
    parts: int
    repeats: int
    mean_ohm: float
    sources: tuple[Source, ...]
    repeatability_ohm: float
    operator_ohm: float
    interaction_ohm: float
    part_ohm: float

    @property
    def reproducibility_ohm(self) -> float:
        """What a change of operator adds, Ω."""
        return math.hypot(self.operator_ohm, self.interaction_ohm)

    @property
    def both_ohm(self) -> float:
        """Repeatability and reproducibility together: the spread of one reading by anyone, Ω."""
        return math.hypot(self.repeatability_ohm, self.reproducibility_ohm)

    @property
    def spread(self) -> bool:
        """Whether any two readings of one part differ by more than what arithmetic leaves (1e-12, ours)."""
        return self.both_ohm > 1e-12 * (abs(self.mean_ohm) + self.part_ohm)

    @property
    def share(self) -> float:
        """The share of the measuring in the whole spread, as standard deviations."""
        whole = math.hypot(self.both_ohm, self.part_ohm)
        return self.both_ohm / whole if whole else 0.0

    @property
    def reproducibility_freedom(self) -> float:
        """Degrees of freedom of the reproducibility (Welch and Satterthwaite, of the mean squares in it).

        σ²(operator) + σ²(interaction) = MS_o/pn + MS_po (p - 1)/pn - MS_e/n.
        """
        _, operator, mixed, error = self.sources
        p, n = self.parts, self.repeats
        shares = (
            (operator.mean_square / (p * n), operator.freedom),
            (mixed.mean_square * (p - 1) / (p * n), mixed.freedom),
            (error.mean_square / n, error.freedom),
        )
        weight = sum(share**2 / freedom for share, freedom in shares)
        return self.reproducibility_ohm**4 / weight if weight else math.inf


def study_of(readings: Sequence[Reading]) -> Study:
    """Analyse a study. Raises `UsageError` unless each operator read each part alike often, twice or more."""
    from scipy.special import fdtrc

    cells: dict[tuple[str, str], list[float]] = {}
    for one in readings:
        cells.setdefault((one.operator, one.part), []).append(one.ohm)
    operators = list(dict.fromkeys(one.operator for one in readings))
    parts = list(dict.fromkeys(one.part for one in readings))
    _refuse_uneven(operators, parts, cells)
    if not all(math.isfinite(one.ohm) for one in readings):
        raise UsageError("a study takes readings that are figures; an open one is none")
    o, p, n = len(operators), len(parts), len(next(iter(cells.values())))
    grand = statistics.fmean(one.ohm for one in readings)
    of_operator = [statistics.fmean(x for part in parts for x in cells[each, part]) for each in operators]
    of_part = [statistics.fmean(x for who in operators for x in cells[who, each]) for each in parts]
    of_cell = {key: statistics.fmean(values) for key, values in cells.items()}
    ss_part = o * n * math.fsum((mean - grand) ** 2 for mean in of_part)
    ss_operator = p * n * math.fsum((mean - grand) ** 2 for mean in of_operator)
    ss_mixed = n * math.fsum(
        (of_cell[who, part] - of_operator[i] - of_part[j] + grand) ** 2
        for i, who in enumerate(operators)
        for j, part in enumerate(parts)
    )
    ss_error = math.fsum((x - of_cell[key]) ** 2 for key, values in cells.items() for x in values)
    freedoms = (p - 1, o - 1, (p - 1) * (o - 1), o * p * (n - 1))
    ms_part, ms_operator, ms_mixed, ms_error = (
        squares / freedom
        for squares, freedom in zip((ss_part, ss_operator, ss_mixed, ss_error), freedoms, strict=True)
    )

    def source(name: str, squares: float, freedom: int, against: float, below: int) -> Source:
        f = squares / freedom / against if against > 0.0 else None
        return Source(name, squares, freedom, f, None if f is None else float(fdtrc(freedom, below, f)))

    return Study(
        o,
        p,
        n,
        grand,
        (
            source("parts", ss_part, freedoms[0], ms_mixed, freedoms[2]),
            source("operators", ss_operator, freedoms[1], ms_mixed, freedoms[2]),
            source("operators by parts", ss_mixed, freedoms[2], ms_error, freedoms[3]),
            Source("repeats", ss_error, freedoms[3]),
        ),
        math.sqrt(ms_error),
        math.sqrt(max(ms_operator - ms_mixed, 0.0) / (p * n)),
        math.sqrt(max(ms_mixed - ms_error, 0.0) / n),
        math.sqrt(max(ms_part - ms_mixed, 0.0) / (o * n)),
    )


def _refuse_uneven(
    operators: Sequence[str], parts: Sequence[str], cells: dict[tuple[str, str], list[float]]
) -> None:
    if len(operators) < 2 or len(parts) < 2:
        raise UsageError(
            f"a study takes two operators and two parts or more; there are {len(operators)} and {len(parts)}",
            cure="Three operators, ten parts and three repeats are common practice.",
        )
    most = max(map(len, cells.values()))
    wanted = max(most, 2)
    for who in operators:
        for part in parts:
            count = len(cells.get((who, part), ()))
            if count != wanted:
                raise UsageError(
                    f"{who} read {part} {count} times where {wanted} are expected",
                    cure="Each operator reads each part alike often, twice or more: take the missing ones.",
                )
