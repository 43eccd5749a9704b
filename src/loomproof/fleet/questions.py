"""The questions, each written once: expressions that SQLite, PostgreSQL, DuckDB and Spark answer alike.

Counting is in whole numbers and text, so that answers are equal to the last digit on all of them. A proof
counts as it was first sealed: corrections change what was entered about it, not what was found. A fault that
stands in several proofs of one loom (name and serial) counts once, in the first of them. What looks back over
a loom's proofs was worked out as each was kept (`records.counting`): here it is only added up, and each of
the three questions goes once over what it asks, real and simulated benches together.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from loomproof.fleet.tables import Tables

DIMENSIONS = ("kind", "connector", "wire", "component", "loom", "month", "bench", "person")
"""By what faults are counted."""

MOST_NAMES = 15
"""Names of each that are told, the most frequent ones."""


@dataclass(frozen=True, slots=True)
class Sums:
    """What all proofs come to: how many looms, proofs, and proofs that passed."""

    looms: int
    proofs: int
    passed: int


@dataclass(frozen=True, slots=True)
class Month:
    """The looms whose first proof of all was in this month (UTC), and how many of them passed it."""

    month: str
    looms: int
    passed: int


@dataclass(frozen=True, slots=True)
class Mending:
    """From the end of a failed proof to the end of the next passed one: how often, and seconds for them.

    ``half_s`` is what half of them took at most, ``nine_tenths_s`` nine tenths; ``None`` without any.
    """

    times: int
    half_s: int | None
    nine_tenths_s: int | None


@dataclass(frozen=True, slots=True)
class Told:
    """What the proofs on real benches come to, or those on simulated ones.

    ``faults`` are by `DIMENSIONS`: names with how many, most first (months in their order, the last ones). A
    fault at several connectors counts for each of them.
    """

    sums: Sums
    first_pass: tuple[Month, ...]
    mending: Mending
    faults: dict[str, list[tuple[str, int]]]


def ask(tables: Tables, *, most: int = MOST_NAMES) -> dict[bool, Told]:
    """Return what proofs on real benches come to (`False`), and those on simulated ones (`True`).

    ``most`` is how many names there are of a dimension at most.
    """
    months = tables.answer(_months(tables))
    mended = tables.answer(_mended(tables))
    counted = tables.answer(_counted(tables, most))

    def of(rows: list[dict[str, Any]], simulated: bool) -> list[dict[str, Any]]:
        return [row for row in rows if row["simulated"] == simulated]

    return {
        simulated: _told(of(months, simulated), of(mended, simulated), of(counted, simulated), most)
        for simulated in (False, True)
    }


def _told(
    months: list[dict[str, Any]], mended: list[dict[str, Any]], counted: list[dict[str, Any]], most: int
) -> Told:
    months = sorted(months, key=lambda row: str(row["month"]))
    looms, proofs, passed = (sum(int(row[of]) for row in months) for of in ("looms", "proofs", "passed"))
    first = (Month(str(row["month"]), int(row["looms"]), int(row["first_passed"])) for row in months)
    found: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for row in counted:
        found[row["what"]].append((str(row["name"]), int(row["times"])))
    # Here and not in the database: each sorts text by rules of its own.
    faults = {what: sorted(found[what], key=lambda row: (-row[1], row[0]))[:most] for what in DIMENSIONS}
    faults["month"] = [(row["month"], int(row["faults"])) for row in months if row["faults"]][-most:]
    return Told(
        Sums(looms, proofs, passed), tuple(each for each in first if each.looms), _took(mended), faults
    )


def _took(mended: list[dict[str, Any]]) -> Mending:
    rows = sorted(mended, key=lambda row: int(row["place"]))
    if not rows:
        return Mending(0, None, None)
    return Mending(int(rows[0]["times"]), int(rows[0]["mended_s"]), int(rows[-1]["mended_s"]))


def _months(tables: Tables) -> Any:
    """Looms, proofs and faults, month by month."""
    proofs = tables.adds
    passed = (proofs.verdict == "pass").ifelse(1, 0)
    return proofs.group_by(simulated=proofs.simulated, month=proofs.month).aggregate(
        looms=proofs.first_proof.sum(),
        first_passed=(passed * proofs.first_proof).sum(),
        proofs=proofs.count(),
        passed=passed.sum(),
        faults=proofs.new_faults.sum(),
    )


def _mended(tables: Tables) -> Any:
    """How often a failed loom passed again, and the time that half and nine tenths of them took at most."""
    ibis = tables.ibis
    took = tables.adds.filter(tables.adds.mended_s >= 0).select("simulated", "mended_s")
    ranked = took.mutate(
        place=ibis.row_number().over(group_by="simulated", order_by="mended_s"),
        times=took.count().over(group_by="simulated"),
    )
    return ranked.filter(
        (ranked.place == (ranked.times - 1) // 2) | (ranked.place == (ranked.times * 9 + 9) // 10 - 1)
    )


def _counted(tables: Tables, most: int) -> Any:
    """How many faults there are of each name that is among the most frequent ones of its dimension."""
    ibis, names = tables.ibis, tables.fault_counts
    counted = names.group_by("simulated", "what", "name").aggregate(times=names.times.sum())
    text = names.schema()["what"]  # which may be empty, as no constant may: kinds of columns must be the same
    looms = tables.loom_faults
    looms = looms.mutate(name=(looms.serial == "").ifelse(looms.loom, looms.loom + ", " + looms.serial))
    proofs = tables.adds.filter(tables.adds.new_faults > 0).mutate(times=tables.adds.new_faults)
    for what, told, name in (
        ("loom", looms, looms.name),
        ("bench", proofs, proofs.bench),
        ("person", proofs, proofs.person),
    ):
        of_it = told.group_by(simulated=told.simulated, what=ibis.literal(what).cast(text), name=name)
        counted = counted.union(of_it.aggregate(times=told.times.sum()))
    # Those that come even with the last of them as well: which are shown is by their names, above.
    place = ibis.rank().over(group_by=["simulated", "what"], order_by=ibis.desc("times"))
    ranked = counted.mutate(place=place)
    return ranked.filter(ranked.place < most)
