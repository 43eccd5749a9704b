"""What very many proofs come to, as one page and as pictures."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from pathlib import Path

from loomproof.errors import UsageError
from loomproof.fleet.questions import MOST_NAMES
from loomproof.fleet.shares import share_interval
from loomproof.fleet.survival import FEWEST_LOOMS
from loomproof.jobs.files import ends_in, folder_for, write_file
from loomproof.jobs.fleet import (
    COUNTED_FROM,
    ONE_LOOM,
    Answers,
    confirmed_in_words,
    in_words,
    kept_until,
    left_out,
    passed_share,
    said_name,
)
from loomproof.records.store import open_store
from loomproof.reports.fleet_page import Part, Section, Table, fleet_html
from loomproof.reports.fleet_pictures import (
    Lasting,
    Month,
    drift_picture,
    faults_picture,
    first_pass_picture,
    survival_picture,
)
from loomproof.reports.fleet_words import meets_texts, slope_texts
from loomproof.reports.words import duration, kind, plural, when
from loomproof.results.figures import ohms
from loomproof.version import VERSION

MONTHS = 36
"""The last months of which a page tells."""

DRAWN = ("kind", "connector", "wire", "component", "loom")
"""By what faults are drawn; by month, bench and person they stand in tables."""

HOW_CONFIRMED = (
    "A fault of one loom counts once, by what was said of it last. Only faults count whose cause somebody "
    "wrote down at the repair; who writes down those alone that were a surprise makes the shares too low."
)
"""What the share of causes that were named first rests on."""

HOW_DRIFT = (
    "A straight line is drawn through what a joint read since it was last open or over its limit by "
    "more than the uncertainty: five readings or more, over four weeks or more, which differ by more "
    "than the uncertainty of their difference. A joint is told where its line rises by more than chance "
    "explains: of those told, no more than one in twenty is expected to be there by chance. That takes "
    "for granted that each joint scatters by itself: one bench, one lead or one temperature can move "
    "many joints together, and they are told as joints that drift then. It holds for one look: who asks "
    "every day tests anew each day, and some more come in by chance. That a line goes on as it did is "
    "an assumption, and no day is told that is farther away than three times as long as it was seen. "
    "Intervals are of 95 % and about the line; a single reading strays around it."
)
"""How a joint comes to be told as one that drifts."""

HOW_LASTING = (
    "A joint was lost between the last proof that read it good and the first that read it open or over "
    "its limit by more than the uncertainty; any other is good until its last proof at least. When "
    "between the two it was lost nobody saw: the estimate (Turnbull's) is the one under which what was "
    "seen is likeliest, and where that leaves a share open, both its ends are told and the line in the "
    "picture slopes. Joints of one loom go through the same things and are not independent of one "
    "another: the intervals are those between which 95 % of the estimates lie that are made anew of as "
    "many looms, drawn by chance with all their joints. They are narrower than they should be: of 160 "
    "such intervals, from looms made up by chance, 137 held the true share, where 152 should have. From "
    "fewer than ten looms none is told. Only looms with two proofs or more say anything, and looms that "
    "come back are often those with which something is wrong: of all others this says little. Who brings "
    "a loom back because a joint begins to fail makes losses look more frequent than they are."
)
"""What the share of joints that stay good rests on."""


def wanted(
    answers: Sequence[Answers],
    dataset: Path | None,
    store: str | None,
    page: Path | None,
    pictures: Path | None,
) -> Iterator[Path]:
    """Write what is wanted of answers, of a data set or of a store, and yield each file that was written.

    Raises `UsageError`, `StoreError`.
    """
    if page is not None:
        yield write_page(page, source_of(dataset, store), answers)
    if pictures is not None:
        yield from write_pictures(pictures, answers)


def source_of(dataset: Path | None, store: str | None) -> str:
    """Return how a page calls where its answers come from: no password, and no more of a path than its
    end."""
    if dataset is not None:
        return f"data set {dataset.resolve().name}"
    with open_store(store) as opened:
        url = opened.url
        return f"store {Path(url.database or '').name}" + (f" on {url.host}" if url.host else "")


def write_page(path: Path, source: str, answers: Sequence[Answers]) -> Path:
    """Write one page that needs nothing from elsewhere. Raises `UsageError`, `StoreError`."""
    ends_in(path, ".html", ".htm")
    made = when(datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"))
    maker = f"Made by loomproof {VERSION}."
    parts = [
        Part(
            "On simulated benches" if each.simulated else "On real benches" if len(answers) > 1 else "",
            [
                ("looms", str(each.told.sums.looms)),
                ("proofs", str(each.told.sums.proofs)),
                ("passed", str(each.told.sums.passed)),
            ],
            tuple(_sections(each)),
        )
        for each in answers
    ]
    text = fleet_html("Proofs of wiring looms, summed up", source, made, COUNTED_FROM, parts, maker)
    write_file(path, text.encode("utf-8"))
    return path


def write_pictures(folder: Path, answers: Sequence[Answers]) -> tuple[Path, ...]:
    """Write each picture as SVG and as PNG into a folder. Raises `UsageError` where there is nothing to
    draw."""
    drawn = [
        (f"{'simulated-' if each.simulated else ''}{section.picture.name}", section.picture)
        for each in answers
        for section in _sections(each)
        if section.picture is not None
    ]
    if not drawn:
        raise UsageError("nothing is kept that could be drawn")
    folder_for(folder)
    written = []
    for name, picture in drawn:
        for ending, data in ((".svg", picture.svg), (".png", picture.png)):
            written.append(folder / f"{name}{ending}")
            write_file(written[-1], data)
    return tuple(written)


def _sections(answers: Answers) -> Iterator[Section]:
    if answers.told.first_pass:
        yield _first_passes(answers)
    took = answers.told.mending
    if took.half_s is not None and took.nine_tenths_s is not None:
        said = f"{plural(took.times, 'time')}: half within {duration(took.half_s)}, nine in ten within "
        yield Section(
            "From a failed proof to the next that passed", [f"{said}{duration(took.nine_tenths_s)}."]
        )
    if answers.confirmed.cases:
        yield _confirmed(answers)
    if answers.without_serial and not (answers.joints.enough or answers.survival.joints):
        yield Section("Joints over time", [left_out(answers.without_serial)])
    if answers.joints.enough:
        yield _drifting(answers)
    if answers.survival.joints:
        yield _lasting(answers)
    for dimension, rows in answers.told.faults.items():
        if rows:
            yield _faults(dimension, rows)


def _first_passes(answers: Answers) -> Section:
    months = [
        Month(each.month, each.looms, each.passed, *share_interval(each.passed, each.looms))
        for each in answers.told.first_pass[-MONTHS:]
    ]
    rows = [
        (each.month, str(each.looms), str(each.passed), *passed_share(each.passed, each.looms))
        for each in reversed(months)
    ]
    heads = ("month", "looms", "passed", "share", "95 % interval")
    table = Table("The latest first; months in UTC.", heads, rows, heads[1:])
    said = ["Each loom counts once, in the month of its first proof of all."]
    if answers.without_serial:
        said.append(ONE_LOOM)
    return Section("Looms that passed their first proof", said, table, first_pass_picture(months))


def _confirmed(answers: Answers) -> Section:
    found = answers.confirmed
    rows = [
        (kind(cause), str(count), str(first), *passed_share(first, count))
        for cause, count, first in found.by_cause
    ]
    heads = ("cause", "confirmed", "named first with its place", "share", "95 % interval")
    said = [f"{each[0].upper()}{each[1:]}." for each in confirmed_in_words(found)]
    return Section(
        "Causes that were confirmed at the repair",
        [*said, HOW_CONFIRMED],
        Table("The most frequent first.", heads, rows, heads[1:]),
    )


def _drifting(answers: Answers) -> Section:
    found = answers.joints
    said = [in_words(found), HOW_DRIFT, *_left_out(answers)]
    within = "95 % interval"
    heads = (
        "joint",
        "readings",
        "over",
        "last",
        "limit",
        "rises a year by",
        within,
        "meets its limit",
        within,
    )
    rows = [
        (
            each.name,
            str(each.readings),
            plural(each.days, "day"),
            ohms(each.last_ohm),
            ohms(each.limit_ohm),
            *slope_texts(each),
            *meets_texts(each),
        )
        for each in found.drifting
    ]
    table = Table("The soonest first.", heads, rows, heads[1:]) if rows else None
    return Section("Joints that drift towards their limit", said, table, drift_picture(found.drifting))


def _lasting(answers: Answers) -> Section:
    found = answers.survival
    heads = ("after", "still good", "95 % interval", "watched that long")
    rows = [
        (plural(days, "day"), share, interval, str(found.watched_for(days)))
        for days, share, interval in kept_until(found)
    ]
    joints = plural(found.joints, "joint")
    of_looms = plural(found.looms, "loom")
    said = [f"{joints} of {of_looms} that were good at their first proof, {found.lost} of them lost since."]
    if found.bad_at_first:
        said.append(
            f"{plural(found.bad_at_first, 'joint')} were bad at the first proof and are not counted here."
        )
    steps = [Lasting(s.after_days, s.days, s.share, s.low, s.high) for s in found.steps]
    enough = found.looms >= FEWEST_LOOMS
    picture = survival_picture(found.joints, found.lost, found.longest_days, steps, interval=enough)
    return Section(
        "Joints that stay good",
        [*said, HOW_LASTING, *_left_out(answers)],
        Table("", heads, rows, heads[1:]),
        picture,
    )


def _left_out(answers: Answers) -> tuple[str, ...]:
    return (left_out(answers.without_serial),) if answers.without_serial else ()


def _faults(dimension: str, rows: Sequence[tuple[str, int]]) -> Section:
    named = [(said_name(dimension, name), count) for name, count in rows]
    whole = len(rows) < MOST_NAMES
    picture = faults_picture(dimension, named, whole=whole) if dimension in DRAWN else None
    texts = [(name, str(count)) for name, count in named]
    caption = (
        "" if whole else f"The last {MOST_NAMES}." if dimension == "month" else f"The first {MOST_NAMES}."
    )
    table = Table(caption, (dimension, "faults"), texts, ("faults",))
    said = ["A fault that stands in several proofs of one loom counts once."]
    if dimension in ("connector", "wire", "component"):
        said.append(f"A fault at several {dimension}s counts for each of them.")
    return Section(f"Faults by {dimension}", said, table, picture)
