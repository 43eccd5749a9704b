"""Cause and repair where a break or a touch has its place: one looks there first and probes no more."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.mending import looks, pieced, probed, rejoined
from loomproof.diagnosis.words import Names, listed
from loomproof.results.findings import Finding
from loomproof.results.places import Place, WirePlace, rounded_down, rounded_up

MOST_CUTS = 3
"""Of more stretches than these no step says where to cut: the place alone does (our convention)."""


def mended_there(names: Names, finding: Finding, place: Place) -> Finding:
    """Return a finding whose cause and repair follow its place; as it is where no one place is told.

    At a contact the cause is that contact. Of several breaks, or wires side by side, nothing is said.
    """
    if finding.cause != Cause.BROKEN_WIRE or place.answer not in ("contact", "near", "wire"):
        return finding
    wires = [names.loom.wire_by_name[name] for name in finding.wires]
    generic = {step for wire in wires for step in looks(names, wire.ends)}
    bares = [end for wire in wires[:1] for end in wire.ends if end.cavity]
    generic.update(looks(names, bares) if bares else ())
    probing = probed(names, finding.wires)
    left = [step for step in finding.repair if step not in generic and not step.endswith(probing)]
    if wires and place.answer == "wire" and all(each.low_m > 0.0 for each in place.stretches):
        # A new contact mends no break on the way.
        told = dict(zip(rejoined(names, wires, bares), pieced(names, wires), strict=True))
        left = [told.get(step, step) for step in left]
    first = looks(names, place.ends) if place.ends else []
    if place.answer != "contact" and len(place.stretches) <= MOST_CUTS:
        first += _cuts(place.stretches, "Where that is sound, cut" if first else "Cut")
    if place.answer == "contact" and all(end.cavity for end in place.ends):
        finding = replace(finding, cause=Cause.BAD_CONTACT.value, cavities=place.ends)
    return replace(finding, repair=(*first, *left)) if first else finding


def parted_there(finding: Finding, place: Place) -> Finding:
    """Return a finding of conductors that touch with what decides first, where plug or wire is not told.

    Where the wire is told it says where to cut; of a plug alone what is there already is enough.
    """
    first = next((each.wire for each in place.stretches), "")
    spots = [each for each in place.stretches if each.wire == first]  # the other wires lie beside it there
    if not 0 < len(spots) <= MOST_CUTS or place.answer not in ("either", "wire"):
        return finding
    steps = _cuts(spots, "Cut")
    if place.ends:
        steps = [
            f"Look between {listed(place.ends)} first; that decides.",
            *_cuts(spots, "Where nothing touches there, cut"),
        ]
    return replace(finding, repair=(*steps, *finding.repair))


def _cuts(stretches: Sequence[WirePlace], cut: str) -> list[str]:
    """Return a step for the tape at these stretches, most probable first."""
    said = [_spot(each) for each in sorted(stretches, key=lambda each: -each.share)]
    return [f"{cut} the tape {', else '.join(said)} and look there."] if said else []


def _spot(each: WirePlace) -> str:
    middle, low, high = (each.low_m + each.high_m) / 2, each.low_m, each.high_m
    if each.as_share:
        reach = f"{rounded_down(100 * low, 0)}% to {rounded_up(100 * high, 0)}%"
        return f"at {middle:.0%} of {each.wire} from {each.end} ({reach})"
    return f"at {middle:.2f} m from {each.end} ({rounded_down(low)} to {rounded_up(high)} m)"
