"""Questions over very many proofs: asked of a store's tables, or of a data set that was made of them."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from loomproof.errors import StoreAwayError, StoreError
from loomproof.fleet.layout import Made, Persons
from loomproof.fleet.shares import share_interval
from loomproof.records.data_folder import home
from loomproof.reports.fleet_words import interval_of, meets_texts, percent_of, slope_texts
from loomproof.reports.words import duration, kind, plural
from loomproof.results.figures import ohms

if TYPE_CHECKING:
    from loomproof.fleet.causes import Confirmed
    from loomproof.fleet.joints import Joints
    from loomproof.fleet.questions import Told
    from loomproof.fleet.survival import Survival
    from loomproof.fleet.tables import Tables
    from loomproof.records.store import Store

COUNTED_FROM = (
    "Counted from the tables that are kept beside the sealed records; no record was opened, so that what "
    "somebody changed in a table is counted as it stands there."
)
"""What the answers rest on: said wherever they are shown."""


@dataclass(frozen=True, slots=True)
class Answers:
    """What the proofs on real benches come to, or those on simulated ones."""

    simulated: bool
    told: Told
    joints: Joints
    survival: Survival
    confirmed: Confirmed
    without_serial: int
    """Proofs of looms without a serial number."""

    @property
    def lines(self) -> Iterator[tuple[str, bool]]:
        """The answers, a line each, and whether it is a heading."""
        if self.simulated:
            yield "On a simulated bench:", True
        sums = self.told.sums
        yield f"{plural(sums.looms, 'loom')}, {plural(sums.proofs, 'proof')}, {sums.passed} passed", False
        if self.told.first_pass:
            yield "looms by the month of their first proof, how many passed it, with the 95 % interval", True
            if self.without_serial:
                yield f"  {ONE_LOOM}", False
        for month in self.told.first_pass[-12:]:
            share, within = passed_share(month.passed, month.looms)
            yield f"  {month.month}  {month.looms:7d} {month.passed:7d}  {share} ({within})", False
        took = self.told.mending
        if took.half_s is not None and took.nine_tenths_s is not None:
            half, most = duration(took.half_s), duration(took.nine_tenths_s)
            yield "from a failed proof to the next that passed", True
            yield f"  {plural(took.times, 'time')}: half within {half}, nine in ten within {most}", False
        if self.confirmed.cases:
            yield "causes that were confirmed at the repair", True
            for said in confirmed_in_words(self.confirmed):
                yield f"  {said}", False
        if self.without_serial:
            yield left_out(self.without_serial), False
        yield from _joint_lines(self.joints, self.survival)
        for dimension, rows in self.told.faults.items():
            if rows:
                yield f"faults by {dimension}", True
            for name, count in rows:
                yield f"  {count:7d}  {said_name(dimension, name)}", False


ONE_LOOM = "All looms of one name that have no serial number count as one loom here."
"""Said of what counts looms, where some have no serial number."""


def left_out(proofs: int) -> str:
    """Return how many proofs joints over time leave out, and why."""
    are = "is of a loom" if proofs == 1 else "are of looms"
    return (
        f"{plural(proofs, 'proof')} {are} without a serial number, which can't be told from others of the "
        "name: joints over time are counted without them."
    )


BETWEEN = (
    "When between two proofs a joint was lost nobody saw: where that leaves a share open, both ends are "
    "told. Intervals (95 %) are from looms drawn again by chance, each with all its joints, and narrower "
    "than they should be."
)
"""Said with the shares of joints that are still good."""

MOST_JOINTS = 15
"""Joints that drift which a screen shows."""

MARKS = (30, 90, 180, 365, 730, 1095, 1825, 3650)
"""Days after which it is said how many joints are still good."""


def said_name(dimension: str, name: str) -> str:
    """Return how a name of a dimension is said."""
    return (kind(name) if dimension == "kind" else name) or "no name"


def in_words(joints: Joints) -> str:
    """Return how many joints drift, of how many of which that could be said."""
    count = len(joints.drifting)
    read = f"{plural(joints.enough, 'joint')} {'was' if joints.enough == 1 else 'were'} read often enough"
    if not count:
        return f"{read}; none of them drifts towards its limit."
    return f"{read}; {count} of them {'drifts towards its' if count == 1 else 'drift towards their'} limit."


def confirmed_in_words(found: Confirmed) -> Iterator[str]:
    """Yield how often what a finding named first was what the repair confirmed."""
    cases = len(found.cases)
    of = f"of {plural(cases, 'fault')} whose cause was confirmed"
    for count, what in (
        (found.first, "the cause and place named first were it"),
        (found.first_cause, "the cause named first was it, wherever it was"),
    ):
        share, within = passed_share(count, cases)
        yield f"{of}: {what} {plural(count, 'time')}, {share} (95 % interval {within})"
    if found.untold:
        yield f"{found.untold} of them: nothing that its finding had named"


def passed_share(passed: int, looms: int) -> tuple[str, str]:
    """Return which share of looms passed, and its 95 % interval."""
    low, high = share_interval(passed, looms)
    return percent_of(100 * passed / looms), interval_of(100 * low, 100 * high)


def kept_until(found: Survival) -> Iterator[tuple[int, str, str]]:
    """Yield after how many days which share of joints is still good, with its interval."""
    from loomproof.fleet.survival import FEWEST_LOOMS

    for days in MARKS:
        if days <= found.longest_days:
            kept = found.kept(days)
            if kept is None:
                yield days, "all", f"none was lost by then; {found.watched_for(days)} watched so long"
                continue
            least, most = percent_of(100 * kept.least), percent_of(100 * kept.most)
            within = interval_of(100 * kept.low, 100 * kept.high)
            if found.looms < FEWEST_LOOMS:
                within = f"no interval from {plural(found.looms, 'loom')}"
            yield days, least if least == most else f"{least} to {most}", within


def _joint_lines(joints: Joints, lasted: Survival) -> Iterator[tuple[str, bool]]:
    if joints.enough:
        yield "joints that drift towards their limit, the soonest first", True
        yield f"  {in_words(joints)}", False
    for each in joints.drifting[:MOST_JOINTS]:
        yield f"  {each.name}: {ohms(each.last_ohm)} of {ohms(each.limit_ohm)}", False
        slope, within = slope_texts(each)
        day, between = meets_texts(each)
        met = f"meets its limit on {day} ({between})" if between else f"when it meets its limit is {day}"
        yield f"    rises by {slope} a year ({within}); {met}", False
    if lasted.joints:
        yield "joints that were good at their first proof, and still are", True
        yield f"  {plural(lasted.joints, 'joint')}, {lasted.lost} lost since", False
        kept = tuple(kept_until(lasted))
        if lasted.lost and kept:
            yield f"  {BETWEEN}", False
        for days, share, interval in kept:
            yield f"  after {days:4d} days  {share} ({interval})", False


def of_the_store(store: str | None) -> tuple[Answers, ...]:
    """Return the answers of a store's tables: real benches, then simulated ones where there are any proofs.

    What was noted in the data folder and is no longer so in the store is the archive's to tell.

    Raises `StoreError` where the store can't be used, or what asks is not installed.
    """
    from loomproof.fleet.tables import of_store

    with _whole(store) as opened, of_store(opened.url) as tables:
        return _asked(tables)


def of_the_dataset(folder: Path, cluster: str = "") -> tuple[Answers, ...]:
    """Return the answers of a data set; of a ``cluster`` of Spark, where one is named (`tables.on_spark`).

    Raises `StoreError` as `of_the_store` does.
    """
    from loomproof.fleet.tables import of_dataset, on_spark

    with on_spark(folder, cluster) if cluster else of_dataset(folder) as tables:
        return _asked(tables)


def _asked(tables: Tables) -> tuple[Answers, ...]:
    from loomproof.fleet.causes import confirmed
    from loomproof.fleet.joints import drift, survival, without_serial
    from loomproof.fleet.questions import ask

    told = ask(tables)
    return tuple(
        Answers(
            simulated,
            told[simulated],
            drift(tables, simulated=simulated),
            survival(tables, simulated=simulated),
            confirmed(tables, simulated=simulated),
            without_serial(tables, simulated=simulated),
        )
        for simulated in told
        if not simulated or told[True].sums.proofs
    )


def make_dataset(store: str | None, folder: Path, persons: Persons) -> Made:
    """Add to a data set what a store has and the data set has not yet; begin one where there is none.

    Pseudonyms are made with a key of this person's data folder, which is made where there is none yet.
    Raises `StoreError` as `parquet.add_to` does.
    """
    from loomproof.fleet.parquet import add_to

    key = _pseudonym_key() if persons is Persons.PSEUDONYMS else b""
    with _whole(store) as opened:
        return add_to(folder, opened, persons, key)


def dataset_made(store: str | None, folder: Path, persons: str) -> str:
    """Make a data set, or add to it, and say what was added; ``persons`` is a value of `Persons`.

    Raises as `make_dataset`.
    """
    made = make_dataset(store, folder, Persons(persons))
    counts = {"run": made.runs, "finding": made.findings, "repair": made.repairs}
    added = [plural(count, what) for what, count in counts.items()]
    if made.confirmed:
        added.append(plural(made.confirmed, "confirmed cause"))
    said = "replaced by pseudonyms" if persons == Persons.PSEUDONYMS.value else persons
    return f"{folder}: added {', '.join(added)}; people's names are {said}."


@contextmanager
def _whole(store: str | None) -> Iterator[Store]:
    """Open a store for what rests on all that it keeps. Raises `StoreAwayError` that says what is at hand."""
    from loomproof.jobs.at_hand import at_hand

    with at_hand(store) as hand:
        if hand.trouble is not None and hand.own is not None:
            waiting = len(hand.own.waiting().runs)
            raise StoreAwayError(
                f"{hand.own.server} does not answer, and what is counted rests on all that is kept there. At "
                f"hand is this bench's outbox, {hand.own.store.where}, with what this bench sealed; "
                f"{plural(waiting, 'proof')} of it {'waits' if waiting == 1 else 'wait'} to be handed over",
                cure="Do it again when the store answers, or name the outbox as the store: what this bench "
                "sealed is counted then, and nothing of others.",
            ) from hand.trouble
        yield hand.store


def _pseudonym_key() -> bytes:
    path = home() / "pseudonyms.key"
    try:
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            made = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(made, "wb") as file:
                file.write(secrets.token_bytes(32))
        return path.read_bytes()
    except OSError as error:
        raise StoreError(
            f"{path}: the key of pseudonyms can't be read or made: {error.strerror}",
            cure="Make its folder writable, or leave names out.",
        ) from error
