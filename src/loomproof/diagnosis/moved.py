"""Which wire or contact came and went while the loom was moved: by what changed together and what was moved.

What lets go parts its net in two, so only wires and contacts with the same cavities behind them can have done
it. Among those the places decide: if a suspect is moved it shows more often than if it is not. With w the
weight of a suspect at a place and t how long each place was moved, one event comes from place p with
probability t_p·w_p / Σ t·w; the product over all events, times equal priors, is a suspect's share (Bayes).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

from loomproof.diagnosis.weights import weights
from loomproof.diagnosis.wiring import Wiring, wiring_of
from loomproof.diagnosis.words import listed
from loomproof.loom.model import End, Loom
from loomproof.results.wiggled import Change, Moved, Place, Suspect, Trouble, Wiggled

MOVED_ITSELF = 20.0
"""How much more often a contact shows while its plug is moved, or a wire while its bundle is. Ours."""

BESIDE_IT = 4.0
"""The same of a wire at the moved plug, and of a contact at the end of a moved wire. Ours."""

_Part = tuple[str, tuple[str, ...], End | None]


def troubles_of(loom: Loom, watched: Wiggled, places: Sequence[Place] = ()) -> tuple[Trouble, ...]:
    """Return what was seen, gathered by what moved together, the most frequent first; suspects in order.

    Events without a place count as seen, and tell suspects apart no further. Of touches every cavity of both
    nets can be where it was; they have no suspects.
    """
    wiring = wiring_of(loom, [net.cavities for net in watched.nets], weights())
    together: dict[tuple[Change, tuple[int, ...], tuple[End, ...]], list[Moved]] = {}
    for moved in watched.seen:
        together.setdefault((moved.change, moved.nets, moved.cavities), []).append(moved)
    found = [
        Trouble(
            change,
            cavities,
            nets,
            len(events),
            min(lengths, default=None),
            max(lengths, default=None),
            Counter(each.place for each in events if each.place),
            _suspects(loom, wiring, watched, change, cavities, events, places),
        )
        for (change, nets, cavities), events in together.items()
        for lengths in [[each.length_us for each in events if each.length_us is not None]]
    ]
    return tuple(sorted(found, key=lambda each: -each.times))


def _suspects(
    loom: Loom,
    wiring: Wiring,
    watched: Wiggled,
    change: Change,
    cavities: Sequence[End],
    events: Sequence[Moved],
    places: Sequence[Place],
) -> tuple[Suspect, ...]:
    if change is Change.TOUCH:
        return ()
    known = {place.name: place for place in places}
    counts = Counter(each.place for each in events if each.place in known)
    spent_s = {name: watched.moved_s.get(name, 0.0) for name in known}
    # Where nobody timed them every place counts for the same.
    spent_s = spent_s if any(spent_s.values()) else dict.fromkeys(known, 1.0)
    parts = list(dict.fromkeys(_parts(loom, wiring, cavities)))
    logs = [_log_likelihood(loom, part, counts, spent_s, known) for part in parts]
    most = max(logs, default=0.0)
    total = sum(math.exp(each - most) for each in logs)
    # Where one place alone was moved all are alike; what is in it is named first, at the same share.
    near = [sum(counts[name] * _weight(loom, part, known[name]) for name in counts) for part in parts]
    order = sorted(range(len(parts)), key=lambda k: (-round(logs[k], 9), -near[k]))
    ranked = [(logs[k], parts[k]) for k in order]
    return tuple(
        Suspect(what, wires, contact, math.exp(log - most) / total) for log, (what, wires, contact) in ranked
    )


def _log_likelihood(
    loom: Loom,
    part: _Part,
    counts: Mapping[str, int],
    spent_s: Mapping[str, float],
    known: Mapping[str, Place],
) -> float:
    weight = {name: _weight(loom, part, place) for name, place in known.items()}
    whole = sum(spent_s[name] * weight[name] for name in known)
    return sum(count * math.log(weight[name] / whole) for name, count in counts.items() if whole)


def _weight(loom: Loom, part: _Part, place: Place) -> float:
    _, wires, contact = part
    if contact is not None:
        if contact.connector in place.connectors:
            return MOVED_ITSELF
        return BESIDE_IT if place.wires.intersection(wires) else 1.0
    if place.wires.intersection(wires):
        return MOVED_ITSELF
    ends = {end.connector for name in wires for end in loom.wire_by_name[name].ends}
    return BESIDE_IT if ends & place.connectors else 1.0


def _parts(loom: Loom, wiring: Wiring, cavities: Iterable[End]) -> Iterator[_Part]:
    """Yield the wires, parts and contacts that part exactly these cavities from the rest of their net."""
    moved = frozenset(wiring.leaf_of[end] for end in cavities if end in wiring.leaf_of)
    if not moved:
        return
    net = wiring.nets[wiring.net_of[min(moved)]]
    leaves = frozenset(net.leaves)
    for number in net.edges:
        edge = wiring.edges[number]
        side = frozenset(wiring.side(number, edge.u))
        if moved not in (side, leaves - side):
            continue
        if edge.contact < 0 and (edge.wires or edge.component):
            yield edge.component or listed(edge.wires), edge.wires, None
        for leaf in sorted({edge.u, edge.v}):
            # A cavity of several wires is on an edge of its own, its contact; of one wire it hangs on that.
            if leaf < wiring.leaf_count and (edge.contact == leaf or edge.contact < 0):
                end = wiring.leaf_ends[leaf]
                wires = tuple(wire.name for wire in loom.wires_at.get(end, ()))
                yield f"the contact of {end}", wires, end
