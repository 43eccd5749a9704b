"""Findings with their places: where along its wires each open and each short lies, by what was read for it.

A place is worked out from the readings alone, and an answer that the readings exclude is no longer offered.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import product

from loomproof.diagnosis.causes import Cause, at_the_adapter
from loomproof.diagnosis.words import Names, listed
from loomproof.electrics.expectation import Expectation
from loomproof.electrics.nets import Net
from loomproof.judgement.copper import copper_of
from loomproof.judgement.place_repair import mended_there, parted_there
from loomproof.judgement.place_words import of_break, of_short, unplaced
from loomproof.judgement.placed_joints import with_joint
from loomproof.locating.breaks import BreakPlace, Piece, place_break
from loomproof.locating.fitness import sound_beside, tree_of_unknown_length, tree_or_why
from loomproof.locating.routes import Beside, beside, may_lie_together
from loomproof.locating.shorts import Reading, ShortPlace, place_short
from loomproof.locating.tree import Tree
from loomproof.locating.wander import PerMetre, Sound, learned, of_loom
from loomproof.loom.model import End, Loom
from loomproof.results.findings import Alternative, Evidence, Finding, Kind
from loomproof.results.measured import Across, Measured, PieceFarads
from loomproof.results.places import KnownFarads, NetFarads, Place

UNSITED = "where these wires lie side by side is not described: give their bundles lengths and places"
"""Why no place of a touch is told where wires may run together for some unknown way."""

MOST_WAYS = 64
"""Of nets with many wires so many pairs of them are looked at; more lie side by side in no loom that shorts
once."""

PLACED_OPENS = ("broken_wire", "bad_contact", "open_splice", "open_part", "blown_fuse")
"""Causes of an open that lie at one place of one net; a whole plug does not."""


def placed(
    expectation: Expectation,
    measured: Measured,
    findings: Sequence[Finding],
    within_m: float = 0.0,
    *,
    locate: bool = True,
    known: KnownFarads | None = None,
) -> tuple[Finding, ...]:
    """Return findings with the places that were read for; those of which nothing was read as they are.

    ``known`` is what this very loom's nets had when it passed.

    Without ``locate`` none has one: joints need no further reading, but were not asked for.

    ``within_m`` is the U that was asked for: a break, which is not read more often for it, says so.
    """
    names = Names(expectation.loom)
    broken = dict(_breaks(expectation, measured, known))
    why = {expectation.net_of[end]: reason for end, reason in measured.unplaced}
    touching = dict(_shorts(expectation, measured))
    high = Counter(_nets(expectation, each) for each in findings if each.kind is Kind.HIGH_RESISTANCE)
    found: list[Finding] = []
    for finding in findings:
        nets = _nets(expectation, finding)
        if finding.kind is Kind.OPEN and len(nets) == 1 and finding.cause in PLACED_OPENS:
            (index,) = nets
            if index in broken:
                finding = _with_break(names, expectation, finding, *broken[index], within_m)
            elif index in why:
                finding = replace(finding, place=unplaced(why[index]))
        elif finding.kind in (Kind.SHORT, Kind.LEAKAGE) and nets in touching:
            finding = _with_short(names, expectation, finding, *touching[nets])
        elif finding.kind is Kind.SHORT and not nets.isdisjoint(why):
            broken_too = listed(w for index in sorted(nets & set(why)) for w in expectation.nets[index].wires)
            reason = f"a break is in {broken_too} as well, and a touch is placed by ohms from both ends"
            finding = replace(finding, place=unplaced(reason))
        elif locate and finding.kind is Kind.HIGH_RESISTANCE and len(nets) == high[nets] == 1:
            finding = with_joint(names, expectation, measured, finding, next(iter(nets)))
        found.append(finding)
    return tuple(found)


def _nets(expectation: Expectation, finding: Finding) -> frozenset[int]:
    """Return the nets that a finding speaks of, by its cavities and its wires."""
    wires = expectation.loom.wire_by_name
    ends = [*finding.cavities, *(wires[name].a for name in finding.wires if name in wires)]
    return frozenset(expectation.net_of[end] for end in ends if end in expectation.net_of)


def _breaks(
    expectation: Expectation, measured: Measured, known: KnownFarads | None
) -> Iterator[tuple[int, tuple[BreakPlace, tuple[PieceFarads, ...], Tree]]]:
    """Yield the place of each net of whose pieces one was read or more."""
    pieces: dict[int, list[PieceFarads]] = {}
    home = {end: group for group in measured.groups for end in group}
    for piece in measured.farads:
        pieces.setdefault(expectation.net_of[min(piece.ends)], []).append(piece)
    for index, found in pieces.items():
        net = expectation.nets[index]
        tree, _ = tree_or_why(expectation.loom, net)
        if tree is None and len(found) > 1:
            tree = tree_of_unknown_length(expectation.loom, net, sum(piece.farad for piece in found))
        if tree is not None:
            read = [Piece(piece.ends, piece.farad, piece.u_f) for piece in found]
            per_metre = PerMetre() if known is None else known_per_metre(expectation.loom, known)
            if known is None and len(found) == 1:
                per_metre = _per_metre(expectation, measured, net)
            seen = {piece.ends for piece in found}
            apart = dict.fromkeys(home[end] for end in net.cavities if end in home and home[end] not in seen)
            whole = _whole(expectation.loom, net, known)
            if whole is not None and len(read) == len(apart) == 1:  # what is missing of it is the other piece
                u_f = math.hypot(whole.u_farad / 2, found[0].u_f)
                read.append(Piece(apart.popitem()[0], max(whole.farad - found[0].farad, 0.0), u_f))
            yield index, (place_break(tree, read, per_metre, tuple(apart)), tuple(found), tree)


def _whole(loom: Loom, net: Net, known: KnownFarads | None) -> NetFarads | None:
    """Return what all of a net had when its loom passed, ``None`` where that is not known."""
    nets = () if known is None else known.nets
    return next((each for each in nets if each.wires == net.wires and _as_long(loom, each)), None)


def _as_long(loom: Loom, each: NetFarads) -> bool:
    return math.isclose(each.length_m, length_of(loom, each.wires), rel_tol=1e-6)


def known_per_metre(loom: Loom, known: KnownFarads) -> PerMetre:
    """Return what a metre has by what this loom's wires read when it passed, where they are as long."""
    same = [Sound(each.length_m, each.farad, each.u_farad / 2) for each in known.nets if _as_long(loom, each)]
    return of_loom(same, f"when it passed on {known.ended[:10]} (run {known.run})") if same else PerMetre()


def length_of(loom: Loom, wires: Iterable[str]) -> float:
    """Return the length of these wires together, m; 0 where one is not there or has none."""
    lengths = [loom.wire_by_name[name].length_m if name in loom.wire_by_name else None for name in wires]
    return 0.0 if None in lengths else math.fsum(length for length in lengths if length is not None)


def farads_of(expectation: Expectation, measured: Measured) -> tuple[NetFarads, ...]:
    """Return what was learned of each net of a sound loom, to be kept in its record."""
    nets = [expectation.nets[expectation.net_of[min(piece.ends)]] for piece in measured.learned_farads]
    return tuple(
        NetFarads(net.wires, length_of(expectation.loom, net.wires), piece.farad, 2.0 * piece.u_f)
        for net, piece in zip(nets, measured.learned_farads, strict=True)
    )


def _per_metre(expectation: Expectation, measured: Measured, net: Net) -> PerMetre:
    """Return what a metre has, by the sound wires beside this net that were read."""
    loom = expectation.loom
    read = {expectation.net_of[min(piece.ends)]: piece for piece in measured.sound_farads}
    beside = sound_beside(loom, net, (expectation.nets[index] for index in read))
    return learned(
        Sound(loom.wire_by_name[each.wires[0]].length_m or 0.0, read[each.index].farad, read[each.index].u_f)
        for each in beside
    )


def _with_break(
    names: Names,
    expectation: Expectation,
    finding: Finding,
    place: BreakPlace,
    pieces: Sequence[PieceFarads],
    tree: Tree,
    within_m: float,
) -> Finding:
    said = of_break(names, expectation.loom, place, pieces, tree)
    said = replace(said, readings=said.readings + place.per_metre.learned_from * (not place.per_metre.since))
    if within_m and said.basis:
        asked = (
            f"± {within_m:g} m was asked, but a break is not read more often for it: that scatter would stay"
        )
        said = replace(said, basis=f"{said.basis}; {asked}")
    told = Evidence(
        "capacitance against all else at 0 V: "
        + listed(f"{piece.farad * 1e12:.0f} pF at {listed(sorted(map(str, piece.ends)))}" for piece in pieces)
        + _leads_off(pieces)
    )
    return _told(names, mended_there(names, finding, said), said, told)


def _leads_off(pieces: Sequence[PieceFarads]) -> str:
    """Say what was taken off for leads, and the U of what is left; gain is the same for all pieces."""
    if not any(piece.leads_f for piece in pieces):
        return ""
    off = listed(f"{piece.leads_f * 1e12:.0f} pF" for piece in pieces)
    most_pf = max(2.0 * piece.u_f * 1e12 for piece in pieces)
    return f" (leads taken off: {off}; U at most {math.ceil(most_pf)} pF, k = 2, the meter's gain not in it)"


def _shorts(
    expectation: Expectation, measured: Measured
) -> Iterator[tuple[frozenset[int], tuple[ShortPlace, tuple[Across, ...], tuple[Tree, ...]]]]:
    """Yield the place of each touch that was read across, by the nets that touch."""
    for across in measured.across:
        nets = sorted({expectation.net_of[end] for one in across for end in (one.a, one.b)})
        trees = tuple(
            tree
            for tree, _ in (tree_or_why(expectation.loom, expectation.nets[index]) for index in nets)
            if tree is not None
        )
        if across and len(trees) == len(nets):
            yield frozenset(nets), (_short(expectation, measured, nets, across, trees), across, trees)


def _short(
    expectation: Expectation,
    measured: Measured,
    indices: Sequence[int],
    across: Sequence[Across],
    trees: Sequence[Tree],
) -> ShortPlace:
    readings = [Reading(one.a, one.b, one.ohm, one.u_ohm) for one in across]
    for judged in measured.judged:
        net = expectation.net_of.get(judged.a)
        if (
            net in indices
            and net == expectation.net_of.get(judged.b)
            and not judged.component
            and math.isfinite(judged.measured_ohm)
            and judged.uncertainty_ohm > 0.0
        ):
            readings.append(Reading(judged.a, judged.b, judged.measured_ohm, judged.uncertainty_ohm / 2))
    nets = [expectation.nets[index] for index in indices]
    sited = _side_by_side(expectation, nets)
    if sited is None:
        return ShortPlace((), UNSITED)
    lead_u_ohm = {end: one.lead_u_ohm for one in across for end in (one.a, one.b)}
    gain_ratio = max((one.gain_ratio for one in across), default=0.0)
    return place_short(
        trees,
        readings,
        copper_of(expectation, nets, lead_u_ohm, gain_ratio),
        sited,
        _in_connector(nets),
    )


def _side_by_side(expectation: Expectation, nets: Sequence[Net]) -> tuple[Beside, ...] | None:
    """Return where a wire of each net lies beside one of every other; ``None`` where nobody can say.

    Wires that may lie together where the description does not say forbid any place: the readings of a touch
    out there would be taken for one in a connector.
    """
    loom = expectation.loom
    found: list[Beside] = []
    for count, names in enumerate(product(*(net.wires for net in nets))):
        if count >= MOST_WAYS:
            return None
        wires = [loom.wire_by_name[name] for name in names]
        together = beside(loom.bundle_by_name, wires)
        if not together and may_lie_together(wires):
            return None
        found += together
    return tuple(found)


def _in_connector(nets: Sequence[Net]) -> tuple[tuple[End, ...], ...]:
    """Return the cavities, one of each net, that share a connector."""
    return tuple(
        ends for ends in product(*(net.cavities for net in nets)) if len({end.connector for end in ends}) == 1
    )


def _with_short(
    names: Names,
    expectation: Expectation,
    finding: Finding,
    place: ShortPlace,
    across: Sequence[Across],
    trees: Sequence[Tree],
) -> Finding:
    said = of_short(names, expectation.loom, place, across, trees)
    repeated = "; ".join(dict.fromkeys(one.said for one in across if one.said))
    if repeated and said.basis:
        said = replace(said, basis=f"{said.basis}; {repeated}")
    told = tuple(
        Evidence(f"{one.a} to {one.b}, read for the place", one.ohm, 2.0 * one.u_ohm) for one in across
    )
    headed = _headed_by_place(names, expectation, finding, said)
    return _told(names, parted_there(headed, said), said, *told)


def _headed_by_place(names: Names, expectation: Expectation, finding: Finding, place: Place) -> Finding:
    """Return a touch headed by the conductors and no more of where than was measured, which is told once.

    Before its place was read the heading named the cavities that were likeliest.
    """
    if finding.cause != Cause.TOUCHING or place.answer == "none":
        return finding
    sides = [
        names.wires([name for name in expectation.nets[index].wires if name in finding.wires], 3)
        for index in sorted(_nets(expectation, finding))
    ]
    if not all(sides):
        return finding
    where = {"connector": f", in {place.ends[0].connector}" if place.ends else "", "wire": ", on their way"}
    return replace(
        finding,
        title=f"Short between {listed(sides)}{where.get(place.answer, '')}",
        alternatives=tuple(_other_places(finding.alternatives, place)),
    )


def _other_places(alternatives: Sequence[Alternative], place: Place) -> Iterator[Alternative]:
    """Yield explanations but for the place itself, which the finding tells.

    The way along the wires stays where places behind it are told: it parts them from those that are open.
    """
    for number, each in enumerate(alternatives):
        if each.cause == Cause.TOUCHING:
            if place.answer == "connector" and set(each.cavities) == set(place.ends):
                continue
            behind = (other for other in alternatives[number + 1 :] if other.cause == Cause.TOUCHING)
            if place.answer == "wire" and not each.cavities and not any(other.cavities for other in behind):
                continue
        yield each


def _told(names: Names, finding: Finding, place: Place, *evidence: Evidence) -> Finding:
    """Return a finding with its place: the most likely place first, what is excluded no longer offered."""
    found = replace(finding, place=place, evidence=(*finding.evidence, *evidence))
    if place.answer in ("none", "either"):
        return found
    first = place.text
    others = [text for text in finding.places if text not in {names.place(end) for end in place.ends}]
    alternatives = finding.alternatives
    if place.answer == "wire":  # the adapter's own lead has no metre of the loom's wire behind it
        alternatives = tuple(each for each in alternatives if not at_the_adapter(each.cause))
    return replace(found, places=(first, *others), alternatives=alternatives)
