"""What ends probably are: each rule on a small loom that it is about, and all of them on an engine's loom."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from loomproof.loom.component_kinds import ComponentKind
from loomproof.loom.model import Component, Connector, ConnectorKind, End, Loom, Wire
from loomproof.loom.nameless import KIND_AND_ROWS
from loomproof.loom.patterns import pattern
from loomproof.naming.answers import Answer, Named, after, begun
from loomproof.naming.figures import LEAST_COMPUTER, Figures
from loomproof.naming.rules import rules
from loomproof.naming.suggesting import suggestions
from tests.naming.engine import PLUGS, engine, nameless, purpose_of

Nets = tuple[str, ...]
COMPUTER = "K"
"""The computer's plug of the small looms; its cavities are K:1 to K:24."""


def small(*nets: str, parts: tuple[Component, ...] = (), screened: bool = False) -> Named:
    """Return a loom with these nets (``K:1 A:1``), as tracing leaves it."""
    cavities: dict[str, list[str]] = {COMPUTER: [str(n) for n in range(1, 25)]}
    joined = []
    for net in (*nets, *(str(end) for part in parts for end in part.ends)):
        ends = [End(*text.split(":")) for text in net.split()]
        joined.append(ends)
        for end in ends:
            there = cavities.setdefault(end.connector, [])
            if end.cavity not in there:
                there.append(end.cavity)
    connectors = [
        Connector(name, ConnectorKind.PLUG, (tuple(each),), KIND_AND_ROWS) for name, each in cavities.items()
    ]
    wires: list[Wire] = []
    for k, ends in enumerate(joined, start=1):
        if len(ends) == 2:
            screen = "SCREEN" if screened and k < 3 else ""
            wires.append(Wire(f"W{len(wires) + 1}", ends[0], ends[1], screened_by=screen))
        elif len(ends) > 2:
            connectors.append(Connector(f"S{k}", ConnectorKind.SPLICE))
            wires += [Wire(f"W{len(wires) + n}", end, End(f"S{k}")) for n, end in enumerate(ends, start=1)]
    if screened:
        wires.append(Wire("SCREEN", End(COMPUTER, "23"), End(COMPUTER, "24")))
    return begun(Loom("small", connectors=tuple(connectors), wires=tuple(wires), components=parts))


def _part(kind: ComponentKind, a: str, b: str) -> tuple[Component, ...]:
    names = ("A", "K") if kind is ComponentKind.DIODE else ("1", "2")
    ends = (End(*a.split(":")), End(*b.split(":")))
    return (Component("X1", kind, tuple(zip(names, ends, strict=True))),)


EARTH = "K:1 K:2 K:3 R1:1 R2:1"
FEED = "K:7 A:1 B:1 C:1 RELAY:1"
OWN = ("K:11 A:2", "K:12 B:2", "K:13 C:2")
SUPPLY = "K:8 T1:1 T2:1 T3:1"
SENSE = "K:9 T1:2 T2:2 T3:2 N1:2 N2:2"
SENSORS = (SUPPLY, SENSE, "K:16 T1:3", "K:17 T2:3", "K:18 T3:3", "K:19 N1:1", "K:20 N2:1")

CASES: Mapping[str, tuple[Named, str]] = {
    "earth-by-ohms": (small(EARTH), "R1:1"),
    "earth": (small(EARTH), "K:2"),
    "battery-feed": (small("K:4 F:1 R1:1", parts=_part(ComponentKind.FUSE, "F:1", "F:2")), "R1:1"),
    "permanent-feed": (small("K:4 R1:1"), "R1:1"),
    "ignition-feed": (small("K:4 R1:1"), "R1:1"),
    "pump-output": (small("K:4 R1:1"), "R1:1"),
    "sensor-supply": (small(*SENSORS), "K:8"),
    "sensor-earth": (small(*SENSORS), "K:9"),
    "main-feed": (small(FEED, *OWN), "RELAY:1"),
    "fused-feed": (small("K:4 F:1 Q:1", parts=_part(ComponentKind.FUSE, "F:1", "F:2")), "K:4"),
    "computer": (small(EARTH), "K:9"),
    "injectors": (small(FEED, *OWN), "A:2"),
    "coils": (small(FEED, *OWN), "B:2"),
    "coils-with-drivers": (
        small("K:7 A:1 B:1 Q:1", "K:11 A:2", "K:12 B:2", "K:1 K:2 K:3 A:3 B:3 R1:1"),
        "A:2",
    ),
    "coolant-sensor": (small(*SENSORS), "N1:1"),
    "air-sensor": (small(*SENSORS), "N2:1"),
    "throttle": (small(*SENSORS), "T1:3"),
    "pressure": (small(*SENSORS), "T2:3"),
    "camshaft": (small(*SENSORS), "T3:3"),
    "air-meter": (small(FEED + " M:1", *OWN, "K:1 K:2 R1:1 M:2", "K:5 M:3", "K:6 M:4"), "M:3"),
    "speed-sensor-screened": (small("K:21 P:1", "K:22 P:2", EARTH + " P:3"), "P:1"),
    "speed-sensor-one-end": (small("K:21 P:1", "K:22 P:2", "P:3"), "P:2"),
    "speed-sensor-described": (small("K:21 P:1", "K:22 P:2", screened=True), "P:1"),
    "speed-sensor": (small("K:21 P:1", "K:22 P:2"), "P:1"),
    "knock-screened": (small("K:21 P:1", "K:22 P:2", EARTH + " P:3"), "P:1"),
    "knock": (small("K:21 P:1", "K:22 P:2"), "P:2"),
    "idle-valve": (small(FEED, *OWN), "C:2"),
    "vapour-valve": (small(FEED, *OWN), "C:2"),
    "idle-two-coils": (small(FEED + " I:1", *OWN, "K:14 I:2", "K:15 I:3"), "I:2"),
    "idle-stepper": (small("K:11 I:1", "K:12 I:2", "K:13 I:3", "K:14 I:4"), "I:2"),
    "oxygen-heated": (small(FEED + " O:1", *OWN, "K:14 O:2", "K:15 O:3", "K:16 O:4"), "O:2"),
    "oxygen-three": (small(FEED + " O:1", *OWN, "K:14 O:2", EARTH + " O:3"), "O:2"),
    "trim-resistor": (
        small("K:14 X:1", "K:15 X:2", parts=_part(ComponentKind.RESISTOR, "X:1", "X:2")),
        "X:1",
    ),
    "relay": (
        small("K:14 X:1", "K:15 X:2", "K:16 X:3", "K:17 X:4", parts=_part(ComponentKind.DIODE, "X:1", "X:2")),
        "X:1",
    ),
    "pump": (small(EARTH + " X:1", "X:2 T:1"), "X:2"),
    "diagnostic": (small(EARTH + " D:1", *(f"K:{10 + n} D:{n}" for n in range(2, 7))), "D:3"),
}


@pytest.mark.parametrize("rule", rules(), ids=lambda rule: rule.name)
def test_each_rule_holds_where_it_is_about_and_speaks_with_its_reason(rule: object) -> None:
    name = str(getattr(rule, "name", ""))
    named, text = CASES[name]
    end = End(*text.split(":"))
    measured = {frozenset((End("K", "1"), End("R1", "1"))): 0.004} if name == "earth-by-ohms" else {}
    (mine,) = [each for each in rules() if each.name == name]
    figures = (
        Figures(named.traced).of_net(end, measured)
        if mine.about == "net"
        else Figures(named.traced).of_plug(end)
    )
    assert {figure for figure, _, _ in mine.when} <= {*figures, "ohm"}
    assert mine.holds(figures), figures
    bare = small("K:1 A:1", "A:2")
    there = bare.net_of[End("A", "2")]
    none = {**dict.fromkeys(figures, -1.0), **({"ohm": 9.9} if "ohm" in figures else {})}
    assert not mine.holds(none), "it must not hold of everything"
    assert len(there.cavities) == 1
    said = suggestions(named, end, measured)
    if name in _CROWDED:
        return
    row = next((each for each in pattern("engine") if each.circuit == mine.circuit), None)
    wanted = row.purpose if row is not None else mine.stem
    (mine_said, *_) = [each for each in said if wanted in each.says]
    assert mine_said.source
    assert "{" not in mine_said.reason
    assert mine_said.answer.whence or mine_said.answer.connector == "ECU"


_CROWDED = frozenset({"vapour-valve"})
"""Rules whose word comes behind `MOST` others on the loom that is made for them."""


def test_every_rule_has_a_source_a_reason_and_a_circuit_of_the_pattern() -> None:
    circuits = {row.circuit for row in pattern("engine")}
    names = [rule.name for rule in rules()]
    assert len(set(names)) == len(names)
    assert set(CASES) == set(names)
    for rule in rules():
        assert rule.source
        assert rule.reason
        assert rule.when
        assert rule.circuit in circuits or rule.about == "computer"
        assert rule.about in ("net", "plug", "computer")


def test_an_earth_is_told_with_its_ohms_where_they_were_measured() -> None:
    named = small("K:1 K:2 K:3 A:1 B:1 C:1 D:1 R1:1 R2:1", "A:2", "B:2", "C:2", "D:2")
    end = End("K", "1")
    measured = {frozenset((end, End("R1", "1"))): 0.004}
    (first, *_) = [each for each in suggestions(named, end, measured) if each.answer.purpose]
    assert first.says == "power earth of the engine computer"
    assert first.reason.startswith("9 cavities and 2 single ends on one net, 0.0040 Ω at most: an earth")
    (unread, *_) = [each for each in suggestions(named, end) if each.answer.purpose]
    assert "Ω" not in unread.reason


@pytest.mark.parametrize("seed", range(6))
def test_an_engines_loom_has_the_right_word_among_the_few_for_each_end(seed: int) -> None:
    """What is right is the loom's own names; of what no rule can know, the tails, only that it is asked."""
    bare, truth = nameless(engine(), seed)
    named = begun(bare)
    tails = {"BATTERY", "KEY", "TANK", "RELAY"}
    for end, real in truth.items():
        said = suggestions(named, end)
        assert len(said) <= 4
        if real.connector in tails or real == End("ECU", "24"):
            continue
        plugs = [each.answer.connector.rstrip("0123456789") for each in said]
        assert real.connector.rstrip("0123456789") in plugs, (real, said)
        purposes = {each.answer.purpose for each in said}
        if PLUGS[real.connector] < LEAST_COMPUTER and len(named.net_of[end].cavities) == 2:
            assert purpose_of(real) in purposes, (real, said)


def test_what_has_a_name_is_not_suggested_again() -> None:
    bare, truth = nameless(engine())
    back = {real: end for end, real in truth.items()}
    named = after(begun(bare), Answer(back[End("INJ1", "2")], "INJ1", purpose="injector"))
    assert suggestions(named, back[End("INJ1", "2")]) == ()
    (first, *_) = suggestions(named, back[End("INJ2", "2")])
    assert first.answer.connector == "INJ2"
    named = after(named, Answer(back[End("TPS", "3")], "TPS"))
    (first, second, third, *_) = suggestions(named, back[End("MAP", "3")])
    assert [each.answer.connector for each in (first, second, third)] == ["MAP", "CAM", "TPS2"]
    # The plug was named and its own wire is for nothing yet: its name says what for.
    (only,) = suggestions(named, back[End("TPS", "3")])
    assert only.answer.purpose == "throttle-position"


def test_cavities_of_one_adapter_plug_are_taken_to_be_of_one_plug() -> None:
    bare, truth = nameless(engine())
    back = {real: end for end, real in truth.items()}
    named = after(begun(bare), Answer(back[End("MAP", "1")], "MAP", "1"))
    first = suggestions(named, back[End("MAP", "2")])[0]
    assert (first.answer.connector, first.answer.cavity) == ("MAP", "2")
    assert str(back[End("MAP", "1")]) in first.reason
    # The plug was named as what it is: no rule names the rest of it otherwise.
    plugs = {each.answer.connector for each in suggestions(named, back[End("MAP", "2")])}
    assert plugs == {"MAP", ""}


def test_two_plugs_as_big_as_each_other_are_no_computer() -> None:
    loom = Loom(
        "two",
        connectors=tuple(
            Connector(name, ConnectorKind.PLUG, (tuple(str(n) for n in range(12)),), KIND_AND_ROWS)
            for name in ("A", "B")
        ),
    )
    assert Figures(loom).computer is None
    assert suggestions(begun(loom), End("A", "1")) == ()
