"""How often what a finding named first was what the repair confirmed: counted once for all places.

What was said last of a finding counts; where that withdrew it, nothing. One fault of one loom (name and
serial) is one case, however often it was proved and confirmed: what was said last of it counts. Looms of one
name without a serial can't be told apart and count as one.
"""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.fleet.shares import share_interval
from loomproof.fleet.tables import Tables
from loomproof.records.names import SIMULATED_CHAIN, WITHDRAWN


@dataclass(frozen=True, slots=True)
class Case:
    """A fault whose cause was confirmed: in which place its finding had told it, from 1, of how many.

    ``rank`` is 0 where the finding had not told it; ``first_cause`` is the cause that it told first.
    """

    run: str
    loom: str
    serial: str
    number: int
    cause: str
    first_cause: str
    rank: int
    among: int


@dataclass(frozen=True, slots=True)
class Confirmed:
    """The cases, by runs, and of how many what was named first was it: cause and place, or the cause."""

    cases: tuple[Case, ...]

    @property
    def first(self) -> int:
        """Of how many the first named place was it."""
        return sum(case.rank == 1 for case in self.cases)

    @property
    def first_cause(self) -> int:
        """Of how many the first named cause was it, wherever it was."""
        return sum(case.cause == case.first_cause for case in self.cases)

    @property
    def untold(self) -> int:
        """Of how many it was nothing that the finding had told."""
        return sum(case.rank == 0 for case in self.cases)

    def interval(self, count: int) -> tuple[float, float]:
        """Return the 95 % interval of the share that so many of the cases are (Wilson's)."""
        return share_interval(count, len(self.cases))

    @property
    def by_cause(self) -> tuple[tuple[str, int, int], ...]:
        """Each confirmed cause with how many cases it has, and of how many its place was named first."""
        causes = sorted({case.cause for case in self.cases})
        counts = [
            (
                cause,
                sum(case.cause == cause for case in self.cases),
                sum(case.cause == cause and case.rank == 1 for case in self.cases),
            )
            for cause in causes
        ]
        return tuple(sorted(counts, key=lambda each: (-each[1], each[0])))


def confirmed(tables: Tables, *, simulated: bool = False) -> Confirmed:
    """Return the faults whose causes were confirmed, of real benches or of simulated ones."""
    said: set[tuple[str, int]] = set()
    newest: dict[tuple[str, ...], Case] = {}
    for row in reversed(tables.confirmed()):
        name, number = str(row["run"]), int(row["finding"])
        if str(row["bench"]).startswith(SIMULATED_CHAIN) != simulated or (name, number) in said:
            continue
        said.add((name, number))
        if row["cause"] == WITHDRAWN:
            continue
        loom, serial = str(row["loom"]), str(row["serial"])
        # Of a run whose body was deleted no finding is left to be known again.
        fault = str(row["fault"]) or f"{name} {number}"
        told = (str(row["cause"]), str(row["first_cause"]), int(row["rank"]), int(row["among"]))
        newest.setdefault((loom, serial, fault), Case(name, loom, serial, number, *told))
    return Confirmed(tuple(sorted(newest.values(), key=lambda case: (case.run, case.number))))
