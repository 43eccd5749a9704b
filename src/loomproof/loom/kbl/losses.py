"""What a loom holds and KBL has no place for, item by item, so that nothing is lost without a word."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import fields

from loomproof.errors import Problem
from loomproof.loom.checking import SINGLE_CRIMP
from loomproof.loom.kbl.document import NOTHING, words
from loomproof.loom.model import Loom, Need, Settings
from loomproof.loom.text import first_of


def cables_of(loom: Loom) -> list[tuple[str, ...]]:
    """Return the wires of each screened cable, screen first.

    A screen that has a screen itself stays a single wire, for a KBL cable has one level of cores.
    """
    by_screen: dict[str, list[str]] = {}
    for wire in loom.wires:
        screen = loom.wire_by_name.get(wire.screened_by)
        if screen is not None and not screen.screened_by:
            by_screen.setdefault(screen.name, []).append(wire.name)
    return [(screen, *wires) for screen, wires in by_screen.items()]


def twists_of(loom: Loom) -> list[tuple[str, ...]]:
    """Return groups of wires that all name each other as twisted together."""
    groups: dict[frozenset[str], tuple[str, ...]] = {}
    for wire in loom.wires:
        group = frozenset((wire.name, *wire.partners))
        whole = all(
            name in loom.wire_by_name and frozenset((name, *loom.wire_by_name[name].partners)) == group
            for name in group
        )
        if len(group) > 1 and whole:
            groups[group] = tuple(one.name for one in loom.wires if one.name in group)
    return list(groups.values())


def losses(loom: Loom) -> tuple[Problem, ...]:
    """Return one warning for each kind of thing that a KBL file of this loom does not hold."""
    return tuple(
        Problem(f"KBL cannot hold {what}", severity="warning")
        for part in (_loom, _connectors, _wires, _components, _circuits)
        for what in part(loom)
    )


def _of(what: str, names: Iterable[str]) -> Iterator[str]:
    listed = list(dict.fromkeys(names))
    if listed:
        yield f"{what}: {first_of(listed)}"


def _loom(loom: Loom) -> Iterator[str]:
    if loom.description:
        yield "the loom's description"
    base = Settings()
    changed = [
        known.name
        for known in fields(Settings)
        if known.name != "stated" and getattr(loom.settings, known.name) != getattr(base, known.name)
    ]
    yield from _of("defaults and limits", changed)
    yield from _of("choices", (choice.name for choice in loom.choices))
    yield from _of(f"a name that is {NOTHING!r}, its word for nothing", _nothings(loom))


def _nothings(loom: Loom) -> Iterator[str]:
    named = [("connector", one.name) for one in loom.connectors]
    named += [("cavity", cavity) for one in loom.connectors for cavity in one.cavities]
    named += [("wire", one.name) for one in loom.wires] + [("part", one.name) for one in loom.components]
    named += [("circuit", one.name) for one in loom.circuits]
    yield from (what for what, name in named if words(name) != name)


def _connectors(loom: Loom) -> Iterator[str]:
    gaps = [one.name for one in loom.connectors if any("" in row for row in one.rows)]
    yield from _of("gaps between cavities", gaps)
    open_cavities = [str(facts.end) for facts in loom.cavity_facts if facts.sealed is False]
    yield from _of("that a cavity is not sealed", open_cavities)
    yield from _of("notes of cavities", (str(facts.end) for facts in loom.cavity_facts if facts.note))
    used = set(loom.wires_at)
    spare = {facts.end for facts in loom.cavity_facts if facts.spare}
    unsaid = [str(end) for end in loom.cavities if end not in used and end not in spare]
    yield from _of("that a cavity without a wire is not spare", unsaid)
    lone = [
        str(facts.end)
        for facts in loom.cavity_facts
        if facts.shared
        and (
            len(loom.wires_at.get(facts.end, ())) < 2
            or loom.by_name[facts.end.connector].kind not in SINGLE_CRIMP
        )
    ]
    yield from _of("that a cavity may hold two wires where it does not", lone)


def _wires(loom: Loom) -> Iterator[str]:
    yield from _of(
        "bundles (its segments lie between nodes with coordinates, which a loom does not know)",
        (*(name for wire in loom.wires for name in wire.bundles), *loom.bundle_by_name),
    )
    yield from _of(
        "sizes as they were written (AWG, strands); mm² are", (one.name for one in loom.wires if one.section)
    )
    yield from _of("a length of 0", (one.name for one in loom.wires if one.length_m == 0))
    cabled = {name for cable in cables_of(loom) for name in cable[1:]}
    yield from _of(
        "a screen that has a screen itself",
        (one.name for one in loom.wires if one.screened_by and one.name not in cabled),
    )
    twisted = {name for group in twists_of(loom) for name in group}
    yield from _of(
        "that a wire is twisted with one that is not twisted with it",
        (one.name for one in loom.wires if one.partners and one.name not in twisted),
    )


def _components(loom: Loom) -> Iterator[str]:
    parts = loom.components
    for name in ("resistance_ohm", "tolerance_pct", "forward_v", "capacitance_f"):
        yield from _of(f"{name} of parts", (one.name for one in parts if getattr(one, name) is not None))
    yield from _of(
        "rating_a of parts other than fuses",
        (one.name for one in parts if one.rating_a is not None and not one.form.blows),
    )
    yield from _of(
        "whether a part is fitted and can be pulled, where that is not usual of its kind",
        (one.name for one in parts if one.fitted is one.form.seated or one.pullable is not one.form.seated),
    )
    yield from _of("circuits of parts", (one.name for one in parts if one.circuit))


def _circuits(loom: Loom) -> Iterator[str]:
    told = loom.circuits
    yield from _of("purposes of circuits", (one.name for one in told if one.purpose))
    yield from _of("terminal designations", (one.name for one in told if one.designation))
    yield from _of("loads of circuits", (one.name for one in told if one.load_a is not None))
    yield from _of("fuses of circuits", (one.name for one in told if one.fuse))
    yield from _of("which circuits need others", (one.name for one in told if one.needs))
    yield from _of("whether a circuit is needed", (one.name for one in told if one.need is not Need.NEEDED))
    used = {wire.circuit for wire in loom.wires}
    yield from _of("circuits without wires", (one.name for one in told if one.name not in used))
