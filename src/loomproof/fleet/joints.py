"""What the joints of very many looms read over time: which drift, and how long joints stay within limits.

Written once for SQLite, PostgreSQL, DuckDB and Spark. Each database adds up whole numbers only, and nothing
that could pass 64 bits or depend on an order: what it answers is exact, and alike on all of them. What
follows from the sums (`forecast`, `survival`) is worked out here, once. A joint is one of one loom (name
and serial), named as the claims name it. Looms without a serial are left out: a name alone may stand for many
of them, and their joints would be laid together as one (`without_serial` says how many proofs that leaves
out).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from loomproof.fleet.forecast import Line, drifting
from loomproof.fleet.survival import Survival, surviving
from loomproof.fleet.tables import Tables
from loomproof.results.drift import Drift

FEWEST = 5
"""Readings below which no line is drawn: with three degrees of freedom an interval is within a factor of
three of what many readings would give (Student's t, 95 %: 3.18 against 1.96). Ours."""

SHORTEST_S = 28 * 86_400
"""From the first of them to the last: readings of one day say nothing of months. Four weeks; ours."""

_YEAR_2000_S = 946_684_800
_LAST_S = 2**31
"""Seconds since 2000 from which on (2068) squares of them come near the end of 64 bits."""
_LEAST_MICRO_OHM = 1_000_000
"""1 Ω is added to each reading, so that those of nothing or less (leads taken off) stay whole numbers above
nothing, whose halves all databases cut alike."""
_MOST_MICRO_OHM = 1_000_000_000
"""A reading of more is an open joint in all but name: 1 kΩ."""
_HALF_BITS = 20


@dataclass(frozen=True, slots=True)
class Joints:
    """How many joints were read often enough for a line, and those of them that drift, soonest first."""

    enough: int
    drifting: tuple[Drift, ...]


def without_serial(tables: Tables, *, simulated: bool = False) -> int:
    """Return how many proofs are of looms without a serial, which joints over time leave out."""
    proofs = tables.proofs
    nameless = proofs.filter(proofs.simulated == int(simulated), proofs.serial == "")
    (row,) = tables.answer(nameless.aggregate(proofs=nameless.count()))
    return int(row["proofs"])


def _readings(tables: Tables, simulated: bool, fewest: int) -> Any:
    """Each reading of a loom that has so many proofs with readings, with when it was, in seconds since 2000.

    It is ``bad`` where the joint was open, or over its limit by more than the uncertainty: where it was
    decided. A reading that its uncertainty leaves undecided is one like any other.
    """
    # Proofs that read no joint are left out first: of a store with few readings hardly any is looked at.
    proofs = tables.proofs.filter(tables.proofs.simulated == int(simulated), tables.proofs.serial != "")
    proofs = tables.readings.select("run_id").distinct().join(proofs, "run_id")
    often = proofs.mutate(proofs=proofs.count().over(group_by=("loom", "serial")))
    wanted = often.filter(often.proofs >= fewest).select("run_id", "loom", "serial", "ended")
    timed = wanted.mutate(at_s=_seconds(wanted.ended) - _YEAR_2000_S).drop("ended")
    timed = timed.filter(timed.at_s >= 0, timed.at_s < _LAST_S)
    read = tables.readings.join(timed, "run_id")
    over = (read.limit_micro_ohm > 0) & (read.micro_ohm - read.uncertainty_micro_ohm > read.limit_micro_ohm)
    return read.mutate(bad=((read.open == 1) | over).ifelse(1, 0))


_JOINT = ("loom", "serial", "joint")


def drift(tables: Tables, *, simulated: bool = False) -> Joints:
    """Return the joints whose readings rise towards their limit, with when they meet it if they go on so.

    Of each joint those readings count that came after the last one that was open or over its limit by more
    than its uncertainty: before it was mended it was another joint. It needs `FEWEST` of them over
    `SHORTEST_S`, the greatest and the least farther apart than the uncertainty of their difference, and a
    slope as `forecast.drifting` says.
    """
    read = _readings(tables, simulated, FEWEST)
    ends = read.group_by(*_JOINT).aggregate(
        last_s=read.at_s.max(), mended_s=read.at_s.max(where=read.bad == 1).coalesce(-1)
    )
    since = read.join(ends, list(_JOINT))
    known = since.micro_ohm.between(-_LEAST_MICRO_OHM, _MOST_MICRO_OHM)
    since = since.filter(since.bad == 0, since.at_s > since.mended_s, known)
    t, r = since.at_s, since.micro_ohm + _LEAST_MICRO_OHM
    latest = since.at_s == since.last_s
    sums: dict[str, Any] = {
        "readings": since.count(),
        "sum_t": t.sum(),
        "sum_r": r.sum(),
        "first_s": t.min(),
        "last_s": t.max(),
        "least": since.micro_ohm.min(),
        "most": since.micro_ohm.max(),
        "uncertainty": since.uncertainty_micro_ohm.max(),
        "limit_micro": since.limit_micro_ohm.max(where=latest),
        "last": since.micro_ohm.max(where=latest),
    }
    for name, product in (("tt", t * t), ("tr", t * r), ("rr", r * r)):
        # In two parts, each far from the end of 64 bits however many readings there are; and by bits, since a
        # division of whole numbers goes through floating point on some databases.
        sums[f"high_{name}"] = (product >> _HALF_BITS).sum()
        sums[f"low_{name}"] = (product & ((1 << _HALF_BITS) - 1)).sum()
    lines = since.group_by(*_JOINT).aggregate(**sums)
    lines = lines.filter(lines.readings >= FEWEST, lines.last_s - lines.first_s >= SHORTEST_S)
    apart = lines.most - lines.least
    u_most = 1_000_000_000  # 1 kΩ: so that its square fits; wider apart than that nothing here is
    moved = (
        (lines.limit_micro > 0)
        & (lines.uncertainty < u_most)
        & (apart * apart > 2 * lines.uncertainty * lines.uncertainty)
    )
    # One question for both: how many lines there are, and all of those whose joints moved.
    place = tables.ibis.row_number().over(order_by=_JOINT)
    lines = lines.mutate(moved=moved.coalesce(False).ifelse(1, 0), enough=lines.count().over(), place=place)
    rows = tables.answer(lines.filter((lines.moved == 1) | (lines.place == 0)))
    enough = int(rows[0]["enough"]) if rows else 0
    found = [(_name(row), _line(row)) for row in rows if row["moved"]]
    return Joints(enough, drifting(found, enough))


def _name(row: Mapping[str, Any]) -> tuple[str, str, str]:
    return str(row["loom"]), str(row["serial"]), str(row["joint"])


def _line(row: Mapping[str, Any]) -> Line:
    def product(name: str) -> int:
        return (int(row[f"high_{name}"]) << _HALF_BITS) + int(row[f"low_{name}"])

    return Line(
        readings=int(row["readings"]),
        sum_t=int(row["sum_t"]),
        sum_r=int(row["sum_r"]) - int(row["readings"]) * _LEAST_MICRO_OHM,
        sum_tt=product("tt"),
        sum_tr=product("tr") - _LEAST_MICRO_OHM * int(row["sum_t"]),
        sum_rr=product("rr")
        - 2 * _LEAST_MICRO_OHM * int(row["sum_r"])
        + int(row["readings"]) * _LEAST_MICRO_OHM**2,
        begin_s=_YEAR_2000_S,
        first_s=int(row["first_s"]),
        last_s=int(row["last_s"]),
        last_micro_ohm=int(row["last"]),
        limit_micro_ohm=int(row["limit_micro"]),
    )


def survival(tables: Tables, *, simulated: bool = False) -> Survival:
    """Return how long joints that were good at their first proof stayed good, in days since it.

    A joint is lost at the first proof that read it open or over its limit by more than its uncertainty, and
    else taken to be good until its last proof. So losses stand later than they came, and shares are too high;
    and joints of one loom are taken as if they were independent, so that intervals are too narrow. Only looms
    with two proofs or more say anything.
    """
    read = _readings(tables, simulated, 2)
    each = read.group_by(*_JOINT).aggregate(
        first_s=read.at_s.min(), last_s=read.at_s.max(), lost_s=read.at_s.min(where=read.bad == 1)
    )
    lives = each.select(
        lost=each.lost_s.notnull().ifelse(1, 0),
        days=(each.lost_s.coalesce(each.last_s) - each.first_s) // 86_400,
        at_once=(each.lost_s == each.first_s).ifelse(1, 0).coalesce(0),
    )
    counted = lives.group_by("at_once", "lost", "days").aggregate(joints=lives.count())
    rows = [{name: int(value) for name, value in row.items()} for row in tables.answer(counted)]
    return surviving(
        ((row["days"], bool(row["lost"]), row["joints"]) for row in rows if not row["at_once"]),
        bad_at_first=sum(row["joints"] for row in rows if row["at_once"]),
    )


_DAYS_BEFORE_1970 = 719_468  # from 0000-03-01, the era's first day: the proleptic Gregorian calendar


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
