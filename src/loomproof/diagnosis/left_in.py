"""Parts that the description says are out for the test, seen in their place all the same.

A relay shows its coil, a fuse or a link joins its two cavities, a changeover relay its break contact. Such
a part is the first explanation of what was seen there: it was forgotten far more often than anything breaks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import replace

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.desk import Desk
from loomproof.diagnosis.found import Found
from loomproof.diagnosis.words import listed
from loomproof.electrics.component_kinds import Path, joins, paths_of
from loomproof.electrics.conductors import component_ohms
from loomproof.loom.model import Component, End, Loom
from loomproof.results.findings import Alternative, Finding
from loomproof.results.measured import JudgedDiode

COIL_OHM = (10.0, 1000.0)
"""A relay coil of unknown value lies between these (common practice: 12 V relays have 50 to 320 Ω)."""

COIL_SEEN_V = 0.02
"""A diode that reads this backwards is no dead short: a coil can lie beside it."""


def joining(
    loom: Loom, place_of: Callable[[End], Hashable | None], places: Sequence[Hashable], *, coils: bool
) -> tuple[Component, ...]:
    """Return the parts that should be out and, left in, join these places to one; empty where they do not.

    ``coils``: the bench only senses, and a coil reads there as a joint does.
    """
    left = [
        (part, {place_of(a), place_of(b)})
        for part in loom.components
        if not part.fitted
        for a, b in (*_closed(part), *(_coils(part) if coils else ()))
    ]
    across = [(part, pair) for part, pair in left if len(pair) == 2 and pair <= {*places}]
    reached, parts = {places[0]}, dict[str, Component]()
    for _ in places:
        for part, pair in across:
            if pair & reached and not pair <= reached:
                reached |= pair
                parts[part.name] = part
    return tuple(parts.values()) if reached == {*places} else ()


def across(
    loom: Loom, place_of: Callable[[End], Hashable | None], pair: set[Hashable], ohm: float, u_ohm: float
) -> tuple[Component, bool] | None:
    """Return a part that should be out and lies between two places, and whether it reads so many ohms.

    Where several lie there the one that reads so is taken. A reading fits within the part's tolerance, the
    reading's uncertainty and 1 Ω of wires.
    """
    there = [
        part
        for part in loom.components
        if not part.fitted and any({place_of(a), place_of(b)} == pair for a, b in _coils(part))
    ]
    fitting = [part for part in there if _reads(part, ohm, u_ohm)]
    return (fitting[0], True) if fitting else (there[0], False) if there else None


def _closed(part: Component) -> Iterator[tuple[End, End]]:
    """Yield the pairs of ends that a part joins with next to no resistance."""
    yield from ((path.a, path.b) for path in paths_of(part) if joins(part, path))


def _coils(part: Component) -> Iterator[tuple[End, End]]:
    """Yield the pairs of ends that a part joins with a resistance."""
    yield from ((path.a, path.b) for path in paths_of(part) if path.path is Path.RESISTIVE)


def _reads(part: Component, ohm: float, u_ohm: float) -> bool:
    if part.resistance_ohm is None:
        return COIL_OHM[0] <= ohm <= COIL_OHM[1]
    least, _, most = component_ohms(part, part.resistance_ohm, 20.0)
    return least - u_ohm - 1.0 <= ohm <= most + u_ohm + 1.0


def found_in(desk: Desk, parts: Sequence[Component], instead: Finding) -> Finding:
    """Return the finding that these parts are still in; ``instead`` is what else would explain the same."""
    names = tuple(part.name for part in parts)
    named = listed(names)
    what = listed(f"{part.kind} {part.name}" for part in parts)
    is_are = "is" if len(names) == 1 else "are"
    ends = tuple(dict.fromkeys(end for part in parts for end in part.ends if end.cavity))
    nets = {desk.net_of.get(end, end): end for end in reversed(instead.cavities)}
    each = [end for end in instead.cavities if end in nets.values()]
    seen_at = f"{each[0]} and {each[-1]}"
    usual = desk.names.cautions(instead.cavities)
    other = Alternative(
        text=desk.names.inside(instead.title),
        cause=instead.cause,
        cavities=instead.cavities,
        wires=instead.wires,
        repair=instead.repair[:-1],
        tell_apart=f"Look whether {named} {is_are} in. Pulled, prove again: what stays is the other.",
        components=instead.components,
    )
    return replace(
        desk.make(
            Cause.LEFT_IN,
            tuple(dict.fromkeys((*instead.cavities, *ends))),
            f"{what[:1].upper()}{what[1:]} {is_are} still in, seen between {seen_at}",
            [desk.names.place(end) for end in ends],
            [
                f"Pull {named}, for the description says that this test is made without, and prove again.",
                "Where it is to stay in for the test, put the description right: fitted, yes.",
            ],
            components=names,
            evidence=instead.evidence,
            alternatives=[other, *instead.alternatives],
            cautions=[caution for caution in instead.cautions if caution not in usual],
        ),
        cost=instead.cost,
        proved=instead.proved,
    )


def or_left_in(
    found: Found, desk: Desk, plain: Finding, groups: set[Hashable], ohm: float, u_ohm: float
) -> Finding:
    """Return a finding as it is, or the part that should be out, and reads so there, in front of it."""
    there = across(found.loom, found.group_at, groups, ohm, u_ohm)
    if there is None:
        return plain
    part, fits = there
    still_in = found_in(desk, (part,), plain)
    if fits:
        return still_in
    other = Alternative(
        text=desk.names.inside(still_in.title),
        cause=Cause.LEFT_IN,
        cavities=still_in.cavities,
        repair=still_in.repair[:-1],
        tell_apart=f"Look whether {part.name} is in: the description says that it is out for the test.",
        components=(part.name,),
    )
    return replace(plain, alternatives=(other, *plain.alternatives))


def read_back(read: JudgedDiode) -> tuple[float, float] | None:
    """Return a diode's backward reading as ohms and their uncertainty, where it says more than a short.

    A bench that reads volts tells no current: from 20 mV on any coil can be what it sees.
    """
    if read.unit != "V":
        return read.backward, 0.1 * read.backward
    return (COIL_OHM[0], math.inf) if read.backward >= COIL_SEEN_V else None
