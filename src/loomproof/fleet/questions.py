"""The questions, each written once: expressions that SQLite, PostgreSQL and DuckDB answer alike.

Counting is in whole numbers and text, so that answers are equal to the last digit on all of them. A proof
counts as it was first sealed: corrections change what was entered about it, not what was found. A fault that
stands in several proofs of one loom (name and serial) counts once, in the first of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from loomproof.fleet.tables import Tables
from loomproof.records.store import SIMULATED_CHAIN
from loomproof.results.findings import ONE_PATH

DIMENSIONS = ("kind", "connector", "wire", "component", "loom", "month", "bench", "person")
"""By what faults are counted."""

_PLACES = ("connector", "wire", "component")
_DAYS_BEFORE_1970 = 719_468  # from 0000-03-01, the era's first day: the proleptic Gregorian calendar


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


def _proofs(tables: Tables, simulated: bool) -> Any:
    runs = tables.runs
    played = runs.bench.startswith(SIMULATED_CHAIN)
    return runs.filter(runs.kind == "proof", played if simulated else ~played)


def sums(tables: Tables, *, simulated: bool = False) -> Sums:
    """Return what the proofs on real benches come to, or those on simulated ones."""
    proofs = _proofs(tables, simulated)
    each = proofs.group_by("loom", "serial").aggregate(
        proofs=proofs.count(), passed=(proofs.verdict == "pass").ifelse(1, 0).sum()
    )
    (told,) = tables.answer(
        each.aggregate(
            looms=each.count(), proofs=each.proofs.sum().coalesce(0), passed=each.passed.sum().coalesce(0)
        )
    )
    return Sums(int(told["looms"]), int(told["proofs"]), int(told["passed"]))


def _faults(tables: Tables, simulated: bool) -> Any:
    """Each fault once: the run and number that first told it, with that run's columns."""
    proofs = _proofs(tables, simulated).select("run_id", "loom", "serial", "bench", "person", "ended")
    found = tables.findings.filter(tables.findings.severity == "fault")
    found = found.mutate(what=found.cause.isin(sorted(ONE_PATH)).ifelse("path", found.kind))
    places = tables.places
    # Where a fault is: its wires and parts, and cavities where neither is known. As least, greatest and
    # number of names, since no order within a group is promised by all databases.
    where = places.group_by("run_id", "number").aggregate(
        **{
            f"{thing}_{word}": call
            for thing in ("wire", "component", "cavity")
            for word, call in (
                ("least", places.name.min(where=places.what == thing).coalesce("")),
                ("most", places.name.max(where=places.what == thing).coalesce("")),
                ("count", places.count(where=places.what == thing)),
            )
        }
    )
    known = (where.wire_count + where.component_count) > 0
    where = where.mutate(
        cavity_least=known.ifelse("", where.cavity_least),
        cavity_most=known.ifelse("", where.cavity_most),
        cavity_count=known.ifelse(0, where.cavity_count),
    )
    keys = [column for column in where.columns if column not in ("run_id", "number")]
    all_of = found.join(proofs, "run_id").left_join(where, ["run_id", "number"])
    all_of = all_of.select(
        *("run_id", "number", "kind", "what", "loom", "serial", "bench", "person", "ended"), *keys
    )
    order = tables.ibis.row_number().over(
        group_by=["loom", "serial", "what", *keys], order_by=["run_id", "number"]
    )
    first = all_of.mutate(place=order)
    return first.filter(first.place == 0)


def faults(tables: Tables, *, simulated: bool = False, most: int = 15) -> dict[str, list[tuple[str, int]]]:
    """Return, for each of `DIMENSIONS`, how many faults there are of each name, most first.

    Months in their order, the last ones. A fault at several connectors counts for each of them.
    """
    first = tables.keep("first_faults", _faults(tables, simulated))
    return {dimension: _counted(tables, first, dimension, most) for dimension in DIMENSIONS}


def _counted(tables: Tables, first: Any, dimension: str, most: int) -> list[tuple[str, int]]:
    if dimension in _PLACES:
        places = tables.places.filter(tables.places.what == dimension).select("run_id", "number", "name")
        named = first.select("run_id", "number").join(places, ["run_id", "number"])
    elif dimension == "loom":
        named = first.mutate(name=(first.serial == "").ifelse(first.loom, first.loom + ", " + first.serial))
    elif dimension == "month":
        named = first.mutate(name=first.ended.substr(0, 7))
    else:
        named = first.mutate(name=first[dimension])
    counted = named.group_by("name").aggregate(times=named.count())
    rows = [(str(row["name"]), int(row["times"])) for row in tables.answer(counted)]
    if dimension == "month":
        return sorted(rows)[-most:]
    # Here and not in the database: each sorts text by rules of its own.
    return sorted(rows, key=lambda row: (-row[1], row[0]))[:most]


def first_pass(tables: Tables, *, simulated: bool = False) -> list[Month]:
    """Return how many looms passed their first proof of all, month by month."""
    proofs = _proofs(tables, simulated)
    first = proofs.group_by("loom", "serial").aggregate(run_id=proofs.run_id.min())
    of_them = first.select("run_id").join(proofs, "run_id")
    of_them = of_them.mutate(month=of_them.ended.substr(0, 7))
    counted = of_them.group_by("month").aggregate(
        looms=of_them.count(), passed=(of_them.verdict == "pass").ifelse(1, 0).sum()
    )
    rows = (Month(str(row["month"]), int(row["looms"]), int(row["passed"])) for row in tables.answer(counted))
    return sorted(rows, key=lambda month: month.month)


def mending(tables: Tables, *, simulated: bool = False) -> Mending:
    """Return how long looms took from the end of a failed proof to the end of the next one that passed."""
    ibis = tables.ibis
    proofs = _proofs(tables, simulated).select("run_id", "loom", "serial", "verdict", "ended")
    # All proofs of a loom up to a passed one, that one included, carry one number: how many passed before.
    before = (
        (proofs.verdict == "pass")
        .ifelse(1, 0)
        .sum()
        .over(ibis.window(group_by=["loom", "serial"], order_by="run_id", preceding=(None, 1)))
    )
    spans = proofs.mutate(span=before.coalesce(0))
    ends = spans.group_by("loom", "serial", "span").aggregate(
        failed=spans.ended.min(where=spans.verdict == "fail"),
        passed=spans.ended.max(where=spans.verdict == "pass"),
    )
    ends = ends.filter(ends.failed.notnull(), ends.passed.notnull())
    took = ends.select(took_s=ibis.greatest(_seconds(ends.passed) - _seconds(ends.failed), 0))
    ranked = took.mutate(
        place=ibis.row_number().over(order_by="took_s"), times=took.count().over(ibis.window())
    )
    wanted = ranked.filter(
        (ranked.place == (ranked.times - 1) // 2) | (ranked.place == (ranked.times * 9 + 9) // 10 - 1)
    )
    rows = sorted(tables.answer(wanted), key=lambda row: int(row["place"]))
    if not rows:
        return Mending(0, None, None)
    return Mending(int(rows[0]["times"]), int(rows[0]["took_s"]), int(rows[-1]["took_s"]))


def _seconds(moment: Any) -> Any:
    """Return whole seconds since 1970 of RFC 3339 text in UTC, by whole numbers alone.

    The count of days is that of the civil calendar with years that begin in March: 153 days in each five
    months, 1 461 in four years, 146 097 in four hundred (the Gregorian rule).
    """

    def part(first: int, length: int) -> Any:
        return moment.substr(first, length).cast("int64")

    year, month, day = part(0, 4), part(5, 2), part(8, 2)
    early = (month <= 2).ifelse(1, 0)
    year = year - early
    in_year = (153 * (month + 12 * early - 3) + 2) // 5 + day - 1
    days = year * 365 + year // 4 - year // 100 + year // 400 + in_year - _DAYS_BEFORE_1970
    return ((days * 24 + part(11, 2)) * 60 + part(14, 2)) * 60 + part(17, 2)
