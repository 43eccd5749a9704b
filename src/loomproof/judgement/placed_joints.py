"""Places of bad joints in nets with branches: which contact, joint, splice or wire has the ohms too many.

It takes no reading more than diagnosis does: after a failure every two cavities of such a net were read.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from loomproof.diagnosis.causes import at_the_adapter
from loomproof.diagnosis.words import Names, listed
from loomproof.electrics.expectation import Expectation
from loomproof.electrics.nets import Net
from loomproof.judgement.copper import copper_of
from loomproof.judgement.place_words import JOINTS_TAKEN, unplaced
from loomproof.locating.bad_joints import BadPart, Thing, branch, place_joint
from loomproof.locating.fitness import tree_or_why
from loomproof.locating.shorts import Reading
from loomproof.locating.tree import Tree
from loomproof.loom.model import End
from loomproof.results.figures import ohms
from loomproof.results.findings import Finding
from loomproof.results.measured import Measured
from loomproof.results.places import Place


def with_joint(
    names: Names, expectation: Expectation, measured: Measured, finding: Finding, index: int
) -> Finding:
    """Return a finding of too many ohms with its place in its net; as it is where the net has no branch.

    Nor is anything said of a net that is not joined as described: its readings have other ways.
    """
    net = expectation.nets[index]
    tree, _ = tree_or_why(expectation.loom, net, with_lengths=False)
    if tree is None or len(net.cavities) < 3 or frozenset(net.cavities) not in measured.groups:
        return finding
    readings = list(_readings(measured, net))
    found = place_joint(tree, readings, copper_of(expectation, [net], {}, 0.0))
    if not found.parts:
        return replace(finding, place=unplaced(found.reason, len(readings)))
    said = [_words(names, tree, part) for part in found.parts]
    things = [thing for part in found.parts for thing in part.things]
    one = len(things) == 1 and things[0].end is not None
    place = Place(
        "contact" if one else "either",
        said[0] if len(said) == 1 else "not told apart: " + "; or ".join(said),
        sum(part.share for part in found.parts),
        tuple(dict.fromkeys(end for part in found.parts for end in branch(tree, part))),
        (),
        "ohms between each two cavities of this net, of which every third is a tap on the way of the others; "
        f"taken as known: {JOINTS_TAKEN}; each part of the net taken as equally likely beforehand",
        "",
        len(readings),
    )
    wires = {thing.run for thing in things} | {
        w for thing in things if thing.whole for w in _at(names, thing)
    }
    alternatives = tuple(
        each
        for each in finding.alternatives
        if at_the_adapter(each.cause) or wires & set(each.wires) or set(place.ends) & set(each.cavities)
    )
    return replace(finding, place=place, alternatives=alternatives)


def _readings(measured: Measured, net: Net) -> Iterator[Reading]:
    """Yield one reading for each two cavities of a net, with four wires where there is such."""
    cavities = set(net.cavities)
    best: dict[frozenset[End], tuple[float, float]] = {}
    read = [
        (one.a, one.b, one.measured_ohm, one.uncertainty_ohm) for one in measured.judged if not one.component
    ]
    read += [(one.a, one.b, one.ohm, one.uncertainty_ohm) for one in measured.paths]
    for one, other, ohm, u_ohm in read:
        if {one, other} <= cavities and math.isfinite(ohm) and u_ohm > 0.0:
            key = frozenset((one, other))
            best[key] = min(best.get(key, (math.inf, 0.0)), (u_ohm, ohm))
    for key, (u_ohm, ohm) in best.items():
        a, b = sorted(key)
        yield Reading(a, b, ohm, u_ohm / 2)


def _at(names: Names, thing: Thing) -> list[str]:
    return [wire.name for wire in names.loom.wires_at.get(thing.end, ())] if thing.end else []


def _words(names: Names, tree: Tree, part: BadPart) -> str:
    """Return a part in words: how many ohms too many, between which joints, and what lies there."""
    whole = all(thing.whole for thing in part.things)
    much = f"about {ohms(part.ohm)}" if whole else f"{ohms(part.ohm)} ± {ohms(2.0 * part.u_ohm)}"
    ends = sorted(branch(tree, part), key=lambda end: not end.cavity)
    where = f"between {listed(_end(end) for end in ends)}" if len(ends) > 1 else f"at {_end(ends[0])}"
    return f"{much} too many {where}: {_listed_or([_thing(names, thing) for thing in _plain(part)])}"


def _plain(part: BadPart) -> Sequence[Thing]:
    """Return what is named of a part: a wire's joints go without saying beside contact and wire."""
    contacts = [thing for thing in part.things if thing.end is not None and not thing.run]
    wires = [thing for thing in part.things if thing.run and thing.end is None]
    crimped = {thing.end for thing in contacts}
    joints = [t for t in part.things if t.run and t.end is not None and t.end not in crimped]
    return (*contacts, *wires, *joints)


def _thing(names: Names, thing: Thing) -> str:
    if thing.end is None:
        return names.wire(thing.run) if thing.run in names.loom.wire_by_name else thing.run
    if thing.whole:
        return "the joint itself"
    if thing.run:
        return f"the joint of {thing.run} in {_end(thing.end)}"
    return f"contact or crimp at {thing.end}"


def _end(end: End) -> str:
    return str(end) if end.cavity else f"splice {end}"


def _listed_or(said: Sequence[str]) -> str:
    return said[0] if len(said) == 1 else ", ".join(said[:-1]) + " or " + said[-1]
