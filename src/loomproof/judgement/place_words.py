"""Places in words: how far from which end, in which bundle, how sure, and on what it rests."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from loomproof.diagnosis.words import Names, listed
from loomproof.electrics.joints import USUAL_SHARES
from loomproof.judgement.copper import LAY_RATIO
from loomproof.locating.breaks import BreakPlace, Failed, Stretch
from loomproof.locating.routes import NOTICED_M, Leg, legs_of, parts_of
from loomproof.locating.shorts import ShortPlace, Touch
from loomproof.locating.tree import Tree
from loomproof.locating.wander import PerMetre
from loomproof.loom.model import End, Loom
from loomproof.results.figures import ohms
from loomproof.results.measured import Across, PieceFarads
from loomproof.results.places import HAIR, BundlePart, Place, Span, WirePlace, rounded_up

TOO_LONG = 0.5
"""An interval of more than this share of the wires on which it lies says no place."""


JOINTS_TAKEN = "sound contacts, crimps and splices have {:.0%} to {:.0%} of the most that they may".format(
    *USUAL_SHARES
)
"""What every place by ohms takes for known of joints."""

CLOSE_M = 0.3
"""A break that may lie so close to a contact is looked for there first (our convention)."""


ALIKE = "each contact, joint and wire of the net taken as equally likely beforehand"
"""What every place of a break takes for known."""


def unplaced(reason: str, readings: int = 0) -> Place:
    """Return the place of a fault of which none can be claimed."""
    return Place("none", f"no place can be told: {reason}", reason=reason, readings=readings)


def metres(low_m: float, high_m: float) -> str:
    """Return an interval as its middle with its half, rounded outwards: ``0.62 m ± 0.08 m``."""
    return "{} m ± {} m".format(*rounded(low_m, high_m))


def rounded(low: float, high: float) -> tuple[str, str]:
    """Return an interval's middle and its half to two places, which leave out nothing of the interval."""
    middle = round((low + high) / 2, 2)
    half = max(math.ceil(max(high - middle, middle - low) * 100 - HAIR) / 100, 0.01)
    return f"{middle:.2f}", f"{half:.2f}"


def of_break(names: Names, loom: Loom, place: BreakPlace, pieces: Sequence[PieceFarads], tree: Tree) -> Place:
    """Return the place of a break in words."""
    if not place.failed:
        return unplaced(place.reason, len(pieces))
    basis = _basis(place.per_metre, len(pieces))
    first = place.failed[0]
    lengths = {run.name: run.length_m for run in tree.runs}
    stretches = tuple(
        _on_wire(loom, each, lengths[each.wire]) for failed in place.failed for each in failed.stretches
    )
    ends = tuple(failed.end for failed in place.failed if failed.end is not None)
    if place.told and first.end is not None:
        return Place("contact", _contact(names, first), first.share, (first.end,), (), basis, "", len(pieces))
    if place.told:
        own = stretches[: len(first.stretches)]
        if sum(each.high_m - each.low_m for each in own) > TOO_LONG * _reckoned_m(own, lengths):
            return Place(
                "either",
                f"in {names.wire(first.run)}, at no contact; these readings do not tell where along it",
                first.share,
                (),
                own,
                basis,
                "",
                len(pieces),
            )
        return Place("wire", _wires(names, own), first.share, (), own, basis, "", len(pieces))
    share = sum(failed.share for failed in place.failed)
    if len(ends) == 1 and all(_close(each, ends[0]) for each in stretches):
        reach = max(each.high_m for each in stretches)
        contact = next(failed for failed in place.failed if failed.end is not None)
        text = f"{_contact(names, contact)}, or within {rounded_up(reach)} m of it"
        return Place("near", text, share, ends, stretches, basis, "", len(pieces))
    said = [
        _contact(names, failed) if failed.end is not None else _wires(names, _of(stretches, failed))
        for failed in place.failed
    ]
    text = "not told apart: " + "; or ".join(said)
    return Place("either", text, share, ends, stretches, basis, "", len(pieces))


def _reckoned_m(own: Sequence[WirePlace], lengths: Mapping[str, float]) -> float:
    return 1.0 if own[0].as_share else lengths[own[0].wire]


def _close(each: WirePlace, end: End) -> bool:
    """Whether a stretch lies so close to a contact that one looks there first; of a share nobody knows."""
    return each.end == end and each.high_m <= CLOSE_M and not each.as_share


def _of(stretches: Sequence[WirePlace], failed: Failed) -> list[WirePlace]:
    return [each for each in stretches if each.wire == failed.run]


def _basis(per_metre: PerMetre, pieces: int) -> str:
    """Return what the place of a break rests on, and what was taken for known beforehand."""
    spread = f"its scatter along the wire taken as {per_metre.wander_ratio:.0%} over {per_metre.wander_m:g} m"
    count = per_metre.learned_from
    learned = f"learned from {count} wire{'s' * (count > 1)} of this loom {per_metre.since}"
    if pieces > 1:
        spread += f", {learned}" * bool(per_metre.since)
        return f"the capacitance of both pieces, in which picofarads per metre cancel; {spread}; {ALIKE}"
    known = f"learned from {count} sound wire{'s' * (count > 1)} beside it" if count else "assumed"
    known = learned if per_metre.since else known
    return (
        f"the capacitance of one piece, with {per_metre.f_per_m * 1e12:.0f} pF/m {known}; {spread}; {ALIKE}"
    )


def _contact(names: Names, failed: Failed) -> str:
    assert failed.end is not None
    where = names.place(failed.end)
    if not failed.end.cavity:
        return f"at {where}, where {names.wire(failed.run)} joins it"
    if failed.run:
        return f"at {where}: the crimp of {names.wire(failed.run)}"
    return f"at {where}: contact or crimp, or the adapter's own pin there"


def _wires(names: Names, places: Sequence[WirePlace]) -> str:
    return listed([_along(names, each) for each in places], 4)


def _along(names: Names, each: WirePlace) -> str:
    said = f"{_extent(each)} from {each.end} along {names.wire(each.wire)}"
    if each.as_share:
        return f"{said} (no length is given: as a share of the wire)"
    if each.passes:
        return f"{said}: {listed([part_words(part) for part in each.passes], len(each.passes))}"
    if each.bundle and each.bundle_low_m is not None and each.bundle_high_m is not None:
        said += f", in bundle {each.bundle}"
        if each.bundle_from:
            said += f", {metres(each.bundle_low_m, each.bundle_high_m)} from {each.bundle_from}"
    return said


def _extent(each: WirePlace) -> str:
    if not each.as_share:
        return metres(each.low_m, each.high_m)
    middle, half = (round(100 * float(text)) for text in rounded(each.low_m, each.high_m))
    return f"{middle}% ± {half}% of its length"


def part_words(part: BundlePart) -> str:
    """Return a part of a stretch in one bundle in words: ``within 0.14 m of fork in bundle trunk``."""
    if part.whole:
        return f"all of bundle {part.bundle}"
    reach = (
        f"within {rounded_up(part.high_m)} m" if part.low_m < NOTICED_M else metres(part.low_m, part.high_m)
    )
    near = f"{reach} {'of' if part.low_m < NOTICED_M else 'from'} {part.begin}"
    return f"{near} in bundle {part.bundle}" if part.bundle else f"{near} in its own tail"


def _on_wire(loom: Loom, stretch: Stretch, length_m: float) -> WirePlace:
    """Return a stretch from the nearer end of its wire, and where that is in its bundle."""
    wire = loom.wire_by_name[stretch.wire]
    low, high, end = stretch.low_m, stretch.high_m, wire.a
    if (stretch.middle_m > length_m / 2 and wire.b.cavity) or not wire.a.cavity:
        low, high, end = length_m - stretch.high_m, length_m - stretch.low_m, wire.b
    place = WirePlace(stretch.wire, end, low, high, stretch.share, wire_m=length_m)
    if wire.length_m is None:
        low, high = low / length_m, high / length_m
        return replace(place, low_m=low, high_m=high, wire_m=1.0, as_share=True)
    legs = legs_of(loom.bundle_by_name, wire)
    place = replace(place, runs=tuple(_span(leg, length_m, end == wire.a) for leg in legs))
    parts = parts_of(loom.bundle_by_name, wire, stretch.low_m, stretch.high_m)
    leg = next((leg for leg in legs if leg.start_m <= stretch.middle_m <= leg.stop_m), None)
    passes = parts if len(parts) > 1 else ()
    if leg is None:
        return replace(place, passes=passes)
    ends_m = sorted(
        min(max(leg.along_bundle(place_m), 0.0), leg.length_m) for place_m in (stretch.low_m, stretch.high_m)
    )
    return replace(
        place,
        bundle=leg.bundle,
        bundle_from=loom.bundle_by_name[leg.bundle].a,
        bundle_low_m=max(ends_m[0] - leg.slack_m, 0.0),
        bundle_high_m=min(ends_m[1] + leg.slack_m, leg.length_m),
        passes=passes,
    )


def _span(leg: Leg, length_m: float, from_a: bool) -> Span:
    if from_a:
        return Span(leg.bundle, leg.start_m, leg.stop_m)
    return Span(leg.bundle, length_m - leg.stop_m, length_m - leg.start_m)


def of_short(
    names: Names, loom: Loom, place: ShortPlace, across: Sequence[Across], trees: Sequence[Tree]
) -> Place:
    """Return the place of a touch in words, by the readings ``across`` it."""
    readings = sum(one.repeats for one in across)
    if not place.touches:
        return unplaced(place.reason, readings)
    basis = "; ".join(_short_basis(place, across))
    lengths = [run.length_m for tree in trees for run in tree.runs if run.is_wire]
    on_wires = [touch for touch in place.touches if not touch.ends]
    long_m = sum(touch.high_m - touch.low_m for touch in on_wires)
    if long_m > TOO_LONG * min(lengths, default=0.0):
        reason = (
            f"{len(place.touches)} places together {rounded_up(long_m)} m long fit the readings equally well:"
            " they scatter too much for wires as short as these"
        )
        return unplaced(reason, readings)
    stretches = tuple(each for touch in on_wires for each in _touched(loom, touch, trees))
    in_plugs = [touch for touch in place.touches if touch.ends]
    ends = tuple(dict.fromkeys(end for touch in in_plugs for end in touch.ends))
    said = [_between(touch.ends) for touch in in_plugs]
    joined = _one_stretch(loom, stretches, trees) if len(on_wires) > 1 and not in_plugs else ()
    if joined:
        stretches = joined
        said += ["; ".join(_along(names, each) for each in joined)]
    else:
        said += [_beside(names, touch, _touched(loom, touch, trees)) for touch in on_wires]
    if len(said) == 1:
        share = sum(touch.share for touch in place.touches)
        return Place(
            "connector" if in_plugs else "wire",
            said[0],
            share,
            ends,
            stretches,
            basis,
            "",
            readings,
        )
    text = "not told apart: " + "; or ".join(said)
    share = sum(touch.share for touch in place.touches)
    return Place("either", text, share, ends, stretches, basis, "", readings)


def _short_basis(place: ShortPlace, across: Sequence[Across]) -> Iterator[str]:
    """Yield what the place of a touch rests on, and what was taken for known beforehand."""
    yield "ohms from both ends of the conductors, in which what the touch itself has cancels"
    scatter_ohm = max((one.scatter_ohm for one in across), default=0.0)
    if scatter_ohm:
        assumed = any(one.scatter_assumed for one in across)
        found = "taken from the limits of error" if assumed else "as self-test or zeroing found"
        yield f"one reading scatters by {ohms(scatter_ohm)} (k = 1), {found}"
    yield f"taken as known: {JOINTS_TAKEN}, copper of one wire is off another's by {LAY_RATIO:.1%} (k = 1)"
    if place.plug_share:
        yield f"{place.plug_share:.0%} of shorts taken to lie in plugs, the rest evenly along these wires"


def _between(ends: Sequence[End]) -> str:
    return f"in {ends[0].connector}, between {listed(ends)}"


def _beside(names: Names, touch: Touch, places: Sequence[WirePlace]) -> str:
    where = listed(
        f"{metres(each.low_m, each.high_m)} from {each.end} along {names.wire(each.wire)}" for each in places
    )
    together = f"in bundle {touch.bundle}" if touch.bundle else "where they are taken to lie side by side"
    return f"{where}, {together}"


def _touched(loom: Loom, touch: Touch, trees: Sequence[Tree]) -> list[WirePlace]:
    """Return where a stretch is on each of the wires that touch."""
    if touch.spots is None:
        return []
    found = []
    for k, (name, _) in enumerate(touch.spots[0].runs):
        run = next(run for run in trees[k].runs if run.name == name)
        one, other = sorted(spot.runs[k][1] for spot in touch.spots)
        slack_m = max(spot.slack_m[k] for spot in touch.spots)
        stretch = Stretch(name, max(one - slack_m, 0.0), min(other + slack_m, run.length_m), touch.share)
        found.append(_on_wire(loom, stretch, run.length_m))
    return found


def _one_stretch(loom: Loom, stretches: Sequence[WirePlace], trees: Sequence[Tree]) -> tuple[WirePlace, ...]:
    """Return one stretch for each wire, where those on both sides of a fork abut; none where they do not."""
    lengths = {run.name: run.length_m for tree in trees for run in tree.runs}
    by_wire: dict[str, list[Stretch]] = {}
    for each in stretches:
        low, high = each.low_m, each.high_m
        if each.end != loom.wire_by_name[each.wire].a:
            low, high = lengths[each.wire] - high, lengths[each.wire] - low
        by_wire.setdefault(each.wire, []).append(Stretch(each.wire, low, high, each.share))
    joined = []
    for name, own in by_wire.items():
        own.sort(key=lambda one: one.low_m)
        if any(other.low_m - one.high_m > NOTICED_M for one, other in pairwise(own)):
            return ()
        whole = Stretch(name, own[0].low_m, max(one.high_m for one in own), sum(one.share for one in own))
        joined.append(_on_wire(loom, whole, lengths[name]))
    return tuple(joined)
