"""What the joints of very many looms read over time: which drift, and how long joints stay within limits.

Written once for SQLite, PostgreSQL, DuckDB and Spark. Each database adds up whole numbers only, and nothing
that could pass 64 bits or depend on an order: what it answers is exact, and alike on all of them. What
follows from the sums (`forecast`, `survival`) is worked out here, once. A joint is one of one loom (name and
serial), named as the claims name it. Looms without a serial are left out: a name alone may stand for many of
them, and their joints would be laid together as one (`without_serial` says how many proofs that leaves out).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from loomproof.fleet.forecast import Line, drifting
from loomproof.fleet.survival import Life, Survival, surviving
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
_TIME_BITS = 31
_MOST = 2**_TIME_BITS - 1
"""Times, ohms and limits are less: two of them stand in one number of 62 bits."""


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
    # Before the window, which is worked out as a table of its own: the time is read from its text once.
    timed = proofs.select("run_id", "loom", "serial", at_s=_since_2000_s(proofs.ended))
    timed = timed.mutate(proofs=timed.count().over(group_by=("loom", "serial")))
    timed = timed.filter(timed.proofs >= fewest, timed.at_s >= 0, timed.at_s < _LAST_S).drop("proofs")
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
    # Hardly any is bad: those are laid beside all the others, and not every joint beside its own readings.
    bad = read.filter(read.bad == 1).group_by(*_JOINT).aggregate(mended_s=lambda rows: rows.at_s.max())
    known = read.micro_ohm.between(-_LEAST_MICRO_OHM, _MOST_MICRO_OHM)
    since = read.filter(read.bad == 0, known).left_join(bad, list(_JOINT))
    since = since.filter(since.at_s > since.mended_s.coalesce(-1))
    t, r = since.at_s, since.micro_ohm + _LEAST_MICRO_OHM
    sums: dict[str, Any] = {
        "readings": since.count(),
        "sum_t": t.sum(),
        "sum_r": r.sum(),
        "first_s": t.min(),
        "last_s": t.max(),
        "least": since.micro_ohm.min(),
        "most": since.micro_ohm.max(),
        "uncertainty": since.uncertainty_micro_ohm.max(),
        # The time before what was read then, in one number: the greatest of them is the latest's.
        "latest_limit": ((t << _TIME_BITS) + since.limit_micro_ohm.clip(upper=_MOST)).max(),
        "latest_r": ((t << _TIME_BITS) + r).max(),
    }
    for name, product in (("tt", t * t), ("tr", t * r), ("rr", r * r)):
        # In two parts, each far from the end of 64 bits however many readings there are; and by bits, since a
        # division of whole numbers goes through floating point on some databases.
        sums[f"high_{name}"] = (product >> _HALF_BITS).sum()
        sums[f"low_{name}"] = (product & ((1 << _HALF_BITS) - 1)).sum()
    lines = since.group_by(*_JOINT).aggregate(**sums)
    lines = lines.filter(lines.readings >= FEWEST, lines.last_s - lines.first_s >= SHORTEST_S)
    lines = lines.mutate(limit_micro=lines.latest_limit & _MOST)
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
        last_micro_ohm=(int(row["latest_r"]) & _MOST) - _LEAST_MICRO_OHM,
        limit_micro_ohm=int(row["limit_micro"]),
    )


def survival(tables: Tables, *, simulated: bool = False) -> Survival:
    """Return how long joints that were good at their first proof stayed good, in days since it.

    A joint was lost between the last proof that read it good and the first that read it open or over its
    limit by more than its uncertainty; else it is good until its last proof at least. Each loom's joints
    stay together, as they are not independent. Only looms with two proofs or more say anything.
    """
    read = _readings(tables, simulated, 2)
    each = read.group_by(*_JOINT).aggregate(
        first_s=read.at_s.min(), last_s=read.at_s.max(), lost_s=read.at_s.min(where=read.bad == 1)
    )
    gone = each.filter(each.lost_s.notnull()).select(*_JOINT, found_s="lost_s")
    before = read.join(gone, list(_JOINT))
    before = before.filter(before.at_s < before.found_s)
    held = before.group_by(*_JOINT).aggregate(good_s=before.at_s.max())
    each = each.left_join(held, list(_JOINT))
    good_s = each.lost_s.isnull().ifelse(each.last_s, each.good_s)
    lives = each.select(
        "loom",
        "serial",
        good=((good_s - each.first_s) // 86_400).coalesce(-1),
        lost=((each.lost_s - each.first_s) // 86_400).coalesce(-1),
    )
    counted = lives.group_by("loom", "serial", "good", "lost").aggregate(joints=lives.count())
    looms: dict[tuple[str, str], list[Life]] = defaultdict(list)
    bad_at_first = 0
    for row in tables.answer(counted):
        good, lost, joints = int(row["good"]), int(row["lost"]), int(row["joints"])
        if good < 0:
            bad_at_first += joints
        else:
            looms[str(row["loom"]), str(row["serial"])].append((good, None if lost < 0 else lost, joints))
    return surviving(looms.values(), bad_at_first=bad_at_first)


_DAYS_BEFORE_2000 = 730_440
"""Of the rule of every fourth year, from the first of March of a year 0 to the first day of 2000."""


def _since_2000_s(moment: Any) -> Any:
    """Return whole seconds since 2000 of RFC 3339 text in UTC of 1901 to 2099, by whole numbers alone.

    Years begin in March, so that a leap day is the last of its year; in those two centuries every fourth
    year has one. 153 days are in each five months. Kept flat: it is worked out for each run, and a database
    reads only so many brackets within one another.
    """

    def part(first: int, length: int) -> Any:
        return moment.substr(first, length).cast("int64")

    month = part(5, 2)
    year = part(0, 4) - (month <= 2).ifelse(1, 0)
    before = [(each, (153 * ((each + 9) % 12) + 2) // 5) for each in range(1, 13)]
    days = year * 365 + (year >> 2) + month.cases(*before, else_=0) + part(8, 2) - 1 - _DAYS_BEFORE_2000
    return days * 86_400 + part(11, 2) * 3_600 + part(14, 2) * 60 + part(17, 2)
