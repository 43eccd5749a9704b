"""Looms that hypothesis builds: any names, any layout, all that the model can hold."""

from __future__ import annotations

from hypothesis import strategies as st

from loomproof.loom import colours, sections
from loomproof.loom.model import (
    Answer,
    Bundle,
    CavityFacts,
    Choice,
    Circuit,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Hazard,
    Loom,
    Need,
    Settings,
    Wire,
)
from loomproof.loom.text import flaw, list_of

NASTY = (
    "01", "1", "1A", "+", "-", "NC", ".", "/", "1-3", "A-F", "1-1", "=1+1", "=A1", "#N/A", "TRUE",
    "1E5", "a b", 'a"b',
    '""', "a:b", "a,b", "a;b", "a=b", "x\u00a0y", "_x0041_", "_x000D_", "Ω", "\U0001f525",
    "\u202eabc", "'01", "@x",
    "yes", "#", "[x]", "\\n", "\u2028x", "x\u200b", "10-Jan", "0", "NaN", "1/0",
)  # fmt: skip

texts = st.one_of(
    st.sampled_from(NASTY),
    st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=6).map(str.strip),
    st.from_regex(r"[A-Z]{1,3}-?[0-9]{0,3}", fullmatch=True),
).filter(lambda text: not flaw(text))
names = texts.filter(bool)
amounts = st.one_of(st.none(), st.floats(0, 1e6, allow_nan=False), st.sampled_from([0.5, 0.1, 1e-9, 2.0]))
sizes = st.one_of(
    st.none(),
    st.floats(1e-3, 500, allow_nan=False),
    st.sampled_from(["14/0.30", "18 AWG", "AWG 2/0", "44/0.012 in"]),
)
held_colours = st.lists(st.sampled_from([*colours.NAMES, "bare", "light GN", "dark BU"]), max_size=3).map(
    "/".join
)


@st.composite
def _rows(draw: st.DrawFn) -> tuple[tuple[str, ...], ...]:
    cavities = draw(
        st.one_of(
            st.lists(names, min_size=1, max_size=6, unique=True),
            st.integers(1, 30).map(lambda n: [f"{i:02d}" for i in range(1, n + 1)]),
            st.integers(1, 30).map(lambda n: [f"A{i}" for i in range(n, 0, -1)]),
        )
    )
    across = draw(st.integers(1, 8))
    gaps = draw(st.booleans())
    rows = [tuple(cavities[i : i + across]) for i in range(0, len(cavities), across)]
    return tuple((("", *row) if gaps and n % 2 else row) for n, row in enumerate(rows))


@st.composite
def looms(draw: st.DrawFn) -> Loom:
    """Return a loom that `loomproof.loom.checking.errors` finds nothing wrong with."""
    labels = draw(st.lists(names, min_size=1, max_size=6, unique=True))
    connectors = []
    for label in labels:
        kind = draw(st.sampled_from(ConnectorKind))
        rows = () if kind is ConnectorKind.SPLICE else draw(_rows())
        extra = (draw(texts), draw(texts), draw(texts))
        connectors.append(Connector(label, kind, rows, *extra, draw(st.sampled_from(Hazard))))
    ends = [end for connector in connectors for end in connector.ends]
    circuits = draw(_circuits())
    fitting = st.sampled_from(["", *(circuit.name for circuit in circuits)])
    wires = draw(_wires(ends, fitting)) if len(ends) > 1 else []
    parts = draw(_components(ends, fitting))
    facts = draw(_facts(ends, wires))
    settings = Settings(
        wire_length_m=draw(st.sampled_from([2.0, 0.3, 5.0])),
        isolation_ohm=draw(st.sampled_from([1e6, 2.5e6])),
        insulation_test_v=draw(st.sampled_from([0.0, 500.0])),
        stated=draw(st.sampled_from([frozenset[str](), frozenset({"contact_ohm"})])),
    )
    return Loom(
        draw(names),
        draw(texts),
        draw(texts),
        tuple(connectors),
        tuple(wires),
        tuple(parts),
        tuple(circuits),
        tuple(facts),
        tuple(draw(_choices([circuit.name for circuit in circuits]))),
        settings,
        draw(texts),
        draw(texts),
        bundles=tuple(draw(_bundles(wires))),
    )


@st.composite
def _bundles(draw: st.DrawFn, wires: list[Wire]) -> list[Bundle]:
    run_through = list(dict.fromkeys(name for wire in wires for name in wire.bundles))
    labels = draw(st.lists(st.sampled_from(run_through), unique=True)) if run_through else []
    lengths = st.sampled_from([None, 0.3, 1.25])
    return [Bundle(label, draw(lengths), draw(texts), draw(texts), draw(texts)) for label in labels]


@st.composite
def _circuits(draw: st.DrawFn) -> list[Circuit]:
    labels = draw(st.lists(names, max_size=4, unique=True))
    return [
        Circuit(
            label,
            draw(texts),
            draw(st.sampled_from(["", "15", "30", "58L", "xyz"])),
            draw(amounts),
            draw(st.sampled_from(["", "10 A", "7.5 A"])),
            tuple(draw(st.lists(st.sampled_from(labels[:i]), max_size=2))) if i else (),
            draw(st.sampled_from(Need)),
        )
        for i, label in enumerate(labels)
    ]


@st.composite
def _wires(draw: st.DrawFn, ends: list[End], circuits: st.SearchStrategy[str]) -> list[Wire]:
    labels = draw(st.lists(names, max_size=6, unique=True))
    wires = []
    for i, label in enumerate(labels):
        a, b = draw(st.lists(st.sampled_from(ends), min_size=2, max_size=2, unique=True))
        size = draw(sizes)
        others = labels[:i] + labels[i + 1 :]
        wires.append(
            Wire(
                label,
                a,
                b,
                draw(held_colours),
                sections.csa_mm2_of(size) if isinstance(size, str) else size,
                draw(amounts),
                draw(circuits),
                list_of(draw(st.lists(st.sampled_from(others), max_size=2))) if others else "",
                draw(st.sampled_from(["", *others])),
                list_of(draw(st.lists(names, max_size=2))),
                draw(texts),
                size if isinstance(size, str) else "",
            )
        )
    return wires


@st.composite
def _components(draw: st.DrawFn, ends: list[End], circuits: st.SearchStrategy[str]) -> list[Component]:
    parts = []
    for label in draw(st.lists(names, max_size=3, unique=True)):
        kind = draw(st.sampled_from(ComponentKind))
        if kind is ComponentKind.RELAY:
            pins = draw(st.lists(names, min_size=2, max_size=5, unique=True))
        else:
            pins = ["A", "K"] if kind is ComponentKind.DIODE else ["1", "2"]
        parts.append(
            Component(
                label,
                kind,
                tuple((pin, draw(st.sampled_from(ends))) for pin in pins),
                draw(amounts),
                draw(amounts),
                draw(amounts),
                draw(amounts),
                draw(amounts),
                fitted=draw(st.booleans()),
                circuit=draw(circuits),
                note=draw(texts),
                pullable=draw(st.booleans()),
            )
        )
    return parts


@st.composite
def _facts(draw: st.DrawFn, ends: list[End], wires: list[Wire]) -> list[CavityFacts]:
    uses = [end for wire in wires for end in wire.ends]
    facts = []
    for end in ends:
        if uses.count(end) > 1 or draw(st.integers(0, 3)) == 0:
            facts.append(
                CavityFacts(
                    end,
                    spare=end not in uses and draw(st.booleans()),
                    sealed=draw(st.sampled_from([None, True, False])),
                    note=draw(texts),
                    shared=uses.count(end) > 1 or draw(st.booleans()),
                )
            )
    return facts


@st.composite
def _choices(draw: st.DrawFn, circuits: list[str]) -> list[Choice]:
    makes = st.lists(
        st.tuples(st.sampled_from(circuits or ["-"]), st.sampled_from(Need)),
        max_size=2,
        unique_by=lambda made: made[0],
    )
    choices = []
    for label in draw(st.lists(names, max_size=2, unique=True)):
        answers = [
            Answer(answer, draw(texts), tuple(draw(makes)) if circuits else ())
            for answer in draw(st.lists(names, min_size=1, max_size=3, unique=True))
        ]
        default = draw(st.sampled_from(["", *(answer.name for answer in answers)]))
        choices.append(Choice(label, draw(texts), tuple(answers), default))
    return choices
