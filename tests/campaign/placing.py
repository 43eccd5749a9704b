"""Faults put at known places of random looms, proved over the link: what is told, how sure, and at what cost.

A loom is drawn with lengths and bundles (`placing_looms`), its leads are zeroed open on the same simulated
device, and one proof is run over its line on a held clock. What the findings say of places is held against
the drawing. Farads and ohms behind it are checked by `placing_oracle`.

    python -m tests.campaign.placing [--short] [--seed N] [--looms N]
"""

from __future__ import annotations

import argparse
import math
import random
import statistics
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from loomproof.results.findings import Kind
from tests.campaign.placing_looms import BESIDE, Case, broken, joint, together, touching, unplaceable
from tests.campaign.placing_runs import EQUAL, Row, break_row, over_link, place_of, short_row

RESULTS = Path(__file__).parent / "results" / "placing.md"
LOOMS, SEED = 2000, 1


@dataclass(frozen=True)
class Batch:
    """One family of looms: its name, how many of a full campaign, and how one is drawn and judged."""

    name: str
    share: float
    draw: Callable[[random.Random], Case]
    judge: Callable[[int, Case, int], Row]


BATCHES = (
    Batch("breaks", 1.0, broken, break_row),
    Batch("breaks in 2 m", 0.15, lambda rng: broken(rng, length_m=2.0), break_row),
    Batch("shorts", 0.5, touching, short_row),
    Batch("shorts in 0.5 mm²", 0.15, lambda rng: touching(rng, 0.5, 2.0), short_row),
    Batch("shorts, contacts equal", 0.15, lambda rng: touching(rng, 0.5, 2.0, EQUAL), short_row),
)


def rows_of(batch: Batch, count: int, seed: int) -> list[Row]:
    """Return the rows of the first looms of a family; seed, family and number fix all of one."""
    return [
        batch.judge(
            number, batch.draw(random.Random(f"{seed} {batch.name} {number}")), seed * 1_000_000 + number
        )
        for number in range(count)
    ]


def false_places(count: int, seed: int) -> tuple[Counter[str], list[str]]:
    """Return how many looms of each kind had no place to tell, and those of which one was told."""
    kinds: Counter[str] = Counter()
    wrong = []
    for number in range(count):
        case = unplaceable(random.Random(f"{seed} none {number}"))
        kinds[case.truth.kind] += 1
        outcome, journal = over_link(case, seed * 1_000_000 + number)
        # A joint in a net with branches has a place, which is false only where it is another wire's.
        own = set(case.loom.wire_by_name[case.fault.split()[2]].ends) if case.truth.kind == "joint" else set()
        places = [f.place for f in outcome.document.findings if f.place and f.place.answer != "none"]
        told = [place.text for place in places if not own or set(place.ends) != own]
        asked = case.truth.kind != "sound" or not journal.count('"ask":["capacitance"')
        if told or not asked:
            wrong.append(f"{number}: {case.truth.kind}, {case.fault}: {told}")
    return kinds, wrong


class Joined(NamedTuple):
    """Of a loom of several faults: whether one place is told as one, whether any is false, and what was told.

    ``once`` is ``None`` where no two faults were at one place.
    """

    once: bool | None
    false: bool
    said: str


def joined(count: int, seed: int) -> Iterator[Joined]:
    """Yield what came of each loom of several faults."""
    for number in range(count):
        case, same, apart = together(random.Random(f"{seed} together {number}"))
        outcome, _ = over_link(case, seed * 1_000_000 + number)
        groups = [frozenset(place.wires) for place in outcome.document.shared_places]
        faults = [
            fault for fault in case.fault.split(BESIDE) if fault.split()[1 + fault.startswith("leak")] in same
        ]
        once = any(same <= group for group in groups) if len(faults) > 1 else None
        false = any(len(group & same) > 0 and len(group & apart) > 0 for group in groups)
        places = [f"{f.title}: {f.place.text if f.place else ''}" for f in outcome.document.findings]
        yield Joined(once, false, f"together {number}: {case.fault}: {places}")


def bad_joints(count: int, seed: int) -> Iterator[tuple[bool | None, str]]:
    """Yield of each bad joint whether what is told is so (``None``: nothing told), and the words."""
    for number in range(count):
        case = joint(random.Random(f"{seed} joint {number}"))
        outcome, _ = over_link(case, seed * 1_000_000 + number)
        place = place_of(outcome, Kind.HIGH_RESISTANCE)
        told = place is not None and place.answer != "none" and "not told apart" not in place.text
        right = set(place.ends) == set(case.truth.ends) if place is not None and told else None
        yield right, f"joint {number}: {case.fault}: {place.text if place else 'nothing told'}"


def extra_ohms(count: int, seed: int) -> int:
    """Return the most readings of ohms that placing a short of two wires cost before repeats.

    By two proofs of each loom.
    """
    most = 0
    for number in range(count):
        case = touching(random.Random(f"{seed} shorts {number}"))
        runs = [over_link(case, seed * 1_000_000 + number, locate=locate) for locate in (True, False)]
        asked = [journal.count('"ask":["resistance"') for _, journal in runs]
        repeated = sum(one.repeats - 1 for touch in runs[0][0].measured.across for one in touch)
        ends = [end for wire in case.loom.wires for end in wire.ends]
        if all(end.cavity for end in ends):
            most = max(most, asked[0] - asked[1] - repeated)
    return most


class Figure(NamedTuple):
    """One line of the table: what, what must be reached, what was found, whether it is."""

    what: str
    must: str
    found: str
    good: bool


def _of(count: int, whole: int) -> str:
    return f"{100.0 * count / max(whole, 1):.1f} % ({count} of {whole})"


def _intervals(name: str, rows: Sequence[Row]) -> Figure:
    own = [row for row in rows if row.half_m is not None]
    held = sum(row.held for row in own)
    share = held / max(len(own), 1)
    # What few looms scatter by is no miss: two standard errors of a true 95 %.
    slack = 2.0 * (0.95 * 0.05 / max(len(own), 1)) ** 0.5 if len(own) < 400 else 0.0
    good = 0.93 - slack <= share <= 0.98 + slack
    return Figure(
        f"{name}: intervals under half the wire that hold the place", "93 to 98 %", _of(held, len(own)), good
    )


def _median(name: str, rows: Sequence[Row], most_cm: float) -> Figure:
    half_cm = 100.0 * statistics.median([row.half_m for row in rows if row.half_m is not None] or [math.inf])
    good = round(half_cm) <= most_cm
    return Figure(f"{name}: median half-width", f"{most_cm:g} cm", f"{half_cm:.1f} cm", good)


def figures(
    rows: Mapping[str, Sequence[Row]],
    none: tuple[Counter[str], list[str]],
    ohms: int,
    several: Sequence[Joined],
    joints: Sequence[tuple[bool | None, str]],
) -> Iterator[Figure]:
    """Yield the figures that must be reached."""
    breaks, shorts = rows["breaks"], rows["shorts"]
    told = [row for row in breaks if row.told]
    right = sum(row.right for row in told)
    yield Figure(
        "breaks: right of this contact, that contact, wire, where told",
        "99 %",
        _of(right, len(told)),
        right >= 0.99 * len(told),
    )
    far = [row for row in breaks if row.far]
    open_ = sum(not row.told for row in far)
    yield Figure(
        "breaks over 10 cm from both ends left undecided",
        "at most 10 %",
        _of(open_, len(far)),
        open_ <= 0.1 * len(far),
    )
    yield _intervals("breaks", breaks)
    yield _intervals("shorts", shorts)
    shown = [row for row in shorts if row.told]
    good = sum(row.right for row in shown)
    yield Figure(
        "shorts: right of plug and wires, where told",
        "99 %",
        _of(good, len(shown)),
        good >= 0.99 * len(shown),
    )
    yield _median("break in 2 m", rows["breaks in 2 m"], 12.0)
    yield _median("short in 0.5 mm², 2 m, 1 mΩ", rows["shorts in 0.5 mm²"], 6.0)
    yield _median("the same, contacts equal", rows["shorts, contacts equal"], 2.0)
    once = [each.once for each in several if each.once is not None]
    false = sum(each.false for each in several)
    yield Figure(
        "several faults: one place told as one",
        "95 %",
        _of(sum(once), len(once)),
        sum(once) >= 0.95 * len(once),
    )
    yield Figure(
        "several faults: joined falsely",
        "at most 2 %",
        _of(false, len(several)),
        false <= 0.02 * len(several),
    )
    known = [right for right, _ in joints if right is not None]
    yield Figure(
        f"bad joints in nets with branches: right, where told ({len(known)} of {len(joints)})",
        "99 %",
        _of(sum(known), len(known)),
        sum(known) >= 0.99 * len(known),
    )
    kinds, wrong = none
    told_of = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()))
    yield Figure(f"false places ({told_of})", "0", str(len(wrong)), not wrong)
    farads = max(row.farads for row in breaks)
    yield Figure("most extra readings of an open", "2", str(farads), farads <= 2)
    yield Figure(
        "most extra readings of a short of two-ended nets, before repeats", "4", str(ohms), ohms <= 4
    )


def main(argv: Sequence[str] | None = None) -> int:
    """Run the campaign, keep its table where it ran in full, and say whether all is reached."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--looms", type=int)
    options = parser.parse_args(argv)
    looms = options.looms or (60 if options.short else LOOMS)
    rows = {}
    for batch in BATCHES:
        rows[batch.name] = rows_of(batch, max(round(batch.share * looms), 10), options.seed)
    few = max(looms // 10, 10)
    none = false_places(few, options.seed)
    several = list(joined(few, options.seed))
    joints = list(bad_joints(few, options.seed))
    ohms = extra_ohms(max(looms // 100, 5), options.seed)
    found = list(figures(rows, none, ohms, several, joints))
    counts = ", ".join(f"{len(own)} {name}" for name, own in rows.items())
    lines = [
        "# Places of breaks and shorts, told over the link",
        "",
        f"{datetime.now(UTC):%Y-%m-%d}, `python -m tests.campaign.placing --looms {looms} --seed "
        f"{options.seed}`: {counts}; looms of 0.3 to 6 m, 0.35 to 2.5 mm², one fault each.",
        "",
        "| figure | must | found |",
        "| --- | --- | --- |",
        *(f"| {f.what} | {f.must} | {f.found}{'' if f.good else ' (missed)'} |" for f in found),
        "",
        *(f"    {each}" for each in none[1]),
        *(f"    {each.said}" for each in several if each.once is False or each.false),
        *(f"    {said}" for right, said in joints if right is False),
        *(
            f"    {name} {row.number}: {row.fault}: {row.text}"
            for name, own in rows.items()
            for row in own
            if row.told and not row.right
        ),
    ]
    text = "\n".join(lines).rstrip() + "\n"
    print(text)
    if not options.short:
        RESULTS.write_text(text, encoding="utf-8")
    return 0 if all(figure.good for figure in found) else 1


if __name__ == "__main__":
    sys.exit(main())
