"""Every kind of fault, as people write it: what it does to the loom, and what a wrong text is told."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from pathlib import Path
from urllib.parse import unquote

import pytest

from loomproof.errors import UsageError
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Loom, Wire, end_of
from loomproof.virtual.faults import quantity, read_fault
from loomproof.virtual.scanner import Make, Scanner

NAMES = "A:1,A:2,A:3,B:1,B:2,B:3,K:85,K:86,F:1,F:2,E:1,rear lamp:L 1,A2:1,A2:2,A2:3"
POINTS = {name: i for i, name in enumerate(NAMES.split(","))}


def two(one: str, at: str, other: str, there: str) -> tuple[tuple[str, End], ...]:
    return ((one, end_of(at)), (other, end_of(there)))


def parts_loom() -> Loom:
    """Three wires from A to B, A2 like A, a relay's coil with its diode, a fuse, a ring, a spare."""
    return Loom(
        name="parts",
        connectors=(
            Connector("A", ConnectorKind.PLUG, (("1", "2", "3"),)),
            Connector("B", ConnectorKind.PLUG, (("1", "2", "3"),)),
            Connector("K", ConnectorKind.RELAY_BASE, (("85", "86"),)),
            Connector("F", ConnectorKind.FUSE_HOLDER, (("1", "2"),)),
            Connector("E", ConnectorKind.RING, (("1",),)),
            Connector("rear lamp", ConnectorKind.PLUG, (("L 1",),)),
            Connector("A2", ConnectorKind.PLUG, (("1", "2", "3"),)),
            Connector("S1", ConnectorKind.SPLICE),
        ),
        wires=(
            Wire("W1", End("A", "1"), End("B", "1"), csa_mm2=1.0, length_m=1.0),
            Wire("W2", End("A", "2"), End("B", "2"), csa_mm2=1.0, length_m=1.0),
            Wire("W 3", End("A2", "1"), End("rear lamp", "L 1"), csa_mm2=1.0, length_m=1.0),
        ),
        components=(
            Component("D1", ComponentKind.DIODE, two("A", "K:86", "K", "K:85"), forward_v=0.7),
            Component("R1", ComponentKind.RESISTOR, two("1", "A:3", "2", "E:1"), 1000.0, 1.0),
            Component("F1", ComponentKind.FUSE, two("1", "F:1", "2", "F:2")),
            Component("K1", ComponentKind.RELAY, two("85", "K:85", "86", "K:86"), fitted=False),
        ),
    )


def scanner(*faults: str, seed: int = 0) -> Scanner:
    return Scanner(parts_loom(), Make(points=len(POINTS)), faults=faults, seed=seed)


def low(it: Scanner, name: str, time_s: float = 0.0) -> set[str]:
    found = it.sense(1 << POINTS[name], time_s)
    return {other for other, i in POINTS.items() if found >> i & 1}


def ohm(it: Scanner, a: str, b: str) -> float:
    return it.true_resistance(1 << POINTS[a], 1 << POINTS[b], 0.0)


def test_the_good_loom() -> None:
    it = scanner()
    assert low(it, "A:1") == {"A:1", "B:1"}
    # A metre of 1 mm² copper is 17.2 mΩ; strands, two crimps and two contacts add up to three times that.
    assert 17.2e-3 < ohm(it, "A:1", "B:1") < 3 * 17.2e-3
    assert ohm(it, "A:1", "A:2") == math.inf
    assert ohm(it, "A:3", "E:1") == pytest.approx(1000.0, rel=0.0051)
    assert low(it, "F:1") == {"F:1", "F:2"}


@pytest.mark.parametrize("fault", ["open W1", "open W1 at A:1", "open W1 at B:1", "open A:1", "open B:1"])
def test_open(fault: str) -> None:
    it = scanner(fault)
    assert low(it, "A:1") == {"A:1"}
    assert ohm(it, "A:1", "B:1") == math.inf


@pytest.mark.parametrize("fault", ["high 4.7 W1", "high 4.7 W1 at B:1", "high 4.7 A:1", "high 4.7ohm W1"])
def test_high_resistance(fault: str) -> None:
    assert ohm(scanner(fault), "A:1", "B:1") == pytest.approx(4.7 + ohm(scanner(), "A:1", "B:1"), abs=1e-9)


def test_a_high_joint_of_kilohms_still_reads_low_and_of_megohms_high() -> None:
    assert low(scanner("high 20k W1"), "A:1") == {"A:1", "B:1"}
    assert low(scanner("high 1M W1"), "A:1") == {"A:1"}


def test_short_and_leak() -> None:
    assert low(scanner("short A:1 A:2"), "A:1") == {"A:1", "A:2", "B:1", "B:2"}
    assert ohm(scanner("short A:1 A:2"), "A:1", "A:2") < 0.1
    assert ohm(scanner("leak 22k A:1 A:2"), "A:1", "B:2") == pytest.approx(22e3, rel=1e-4)


def test_crossed_wires() -> None:
    it = scanner("swap A:1 A:2")
    assert low(it, "A:1") == {"A:1", "B:2"}
    assert low(it, "A:2") == {"A:2", "B:1"}


def test_a_wire_in_the_wrong_cavity() -> None:
    it = scanner("move B:1 B:3")
    assert low(it, "A:1") == {"A:1", "B:3"}
    assert low(it, "B:1") == {"B:1"}
    with pytest.raises(UsageError, match="B:2 holds a wire already"):
        scanner("move B:1 B:2")


def test_plugs_exchanged() -> None:
    it = scanner("exchange A A2")
    assert low(it, "A2:1") == {"A2:1", "B:1"}
    assert low(it, "A:1") == {"A:1", "rear lamp:L 1"}


def plug_loom(*rows: str) -> Loom:
    """Plug P, each cavity wired to the same one of the straight strip Q; three rings on one splice."""
    split = tuple(tuple(row) for row in rows)
    names = "".join(rows)
    return Loom(
        "plug",
        connectors=(
            Connector("P", ConnectorKind.PLUG, split),
            Connector("Q", ConnectorKind.PLUG, (tuple(names),)),
            *(Connector(f"E{i}", ConnectorKind.RING, (("1",),)) for i in (1, 2, 3)),
            Connector("S1", ConnectorKind.SPLICE),
        ),
        wires=(
            *(Wire(f"W{name}", End("P", name), End("Q", name), csa_mm2=1.0, length_m=1.0) for name in names),
            *(Wire(f"T{i}", End(f"E{i}", "1"), End("S1"), csa_mm2=1.0, length_m=1.0) for i in (1, 2, 3)),
        ),
    )


@pytest.mark.parametrize(
    ("fault", "found"),
    [
        # Where each wire of cavities a to f, in two rows, is found at P ("." is nowhere).
        ("mirror P", "cbafed"),
        ("rotate P", "fedcba"),
        ("shift P", "bcdef."),
    ],
)
def test_a_plug_put_on_wrongly(fault: str, found: str) -> None:
    loom = plug_loom("abc", "def")
    ends = [str(end) for end in loom.cavities]
    it = Scanner(loom, Make(points=len(ends)), faults=(fault,))
    for wire, place in zip("abcdef", found, strict=True):
        drive = 1 << ends.index(f"Q:{wire}")
        low_now = {end for i, end in enumerate(ends) if it.sense(drive, 0.0) >> i & 1}
        assert low_now == {f"Q:{wire}"} | ({f"P:{place}"} if place != "." else set())


def test_a_splice_comes_apart_or_goes_bad() -> None:
    loom = plug_loom("ab")
    ends = [str(end) for end in loom.cavities]
    rings = [1 << ends.index(f"E{i}:1") for i in (1, 2, 3)]
    apart = Scanner(loom, Make(points=len(ends)), faults=("open S1",))
    assert all(apart.sense(ring, 0.0) == ring for ring in rings)
    sound = Scanner(loom, Make(points=len(ends)))
    bad = Scanner(loom, Make(points=len(ends)), faults=("high 3 S1",))
    for a, b in itertools.combinations(rings, 2):
        more = bad.true_resistance(a, b, 0.0) - sound.true_resistance(a, b, 0.0)
        assert more == pytest.approx(3.0, abs=1e-9)


def test_a_blown_fuse() -> None:
    assert low(scanner("blown F1"), "F:1") == {"F:1"}


def test_a_fuse_stays_in_its_holder_when_terminals_are_crossed() -> None:
    assert low(scanner("swap F:1 F:2"), "F:1") == {"F:1", "F:2"}


def test_parts_missing_reversed_and_of_another_value() -> None:
    assert ohm(scanner("missing R1"), "A:3", "E:1") == math.inf
    assert low(scanner("missing F1"), "F:1") == {"F:1"}
    assert ohm(scanner("value 4.7k R1"), "A:3", "E:1") == pytest.approx(4700.0, rel=1e-4)
    with pytest.raises(UsageError, match="K1 is not in place"):
        scanner("missing K1")


def test_a_diode_conducts_one_way_and_reversed_the_other() -> None:
    anode, cathode = (1 << POINTS[name] for name in ("K:86", "K:85"))
    it, other = scanner(), scanner("reversed D1")
    # At the current for which the description states 0.7 V.
    assert it.diode(anode, cathode, 0.0) == pytest.approx(0.7, abs=0.003)
    assert it.diode(cathode, anode, 0.0) == math.inf
    assert other.diode(cathode, anode, 0.0) == pytest.approx(0.7, abs=0.003)
    assert other.diode(anode, cathode, 0.0) == math.inf
    # Driven low, the cathode pulls its anode down; the anode does not pull its cathode down.
    assert low(it, "K:85") == {"K:85", "K:86"}
    assert low(it, "K:86") == {"K:86"}


def test_parts_that_should_not_be_there() -> None:
    assert ohm(scanner("part 330 A:1 E:1"), "A:1", "E:1") == pytest.approx(330.0, rel=1e-3)
    it = scanner("part diode A:1 E:1")
    assert it.diode(1 << POINTS["A:1"], 1 << POINTS["E:1"], 0.0) < 1.0
    assert it.diode(1 << POINTS["E:1"], 1 << POINTS["A:1"], 0.0) == math.inf


@pytest.mark.parametrize("fault", ["loose A:1 4 Hz", "loose W1 4 Hz", "loose B:1 4"])
def test_a_loose_contact_comes_and_goes_with_time(fault: str) -> None:
    it = scanner(fault)
    seen = [low(it, "A:1", i / 1000) for i in range(1000)]
    opened = sum(found == {"A:1"} for found in seen)
    assert opened + sum(found == {"A:1", "B:1"} for found in seen) == 1000
    assert 96 <= opened <= 104
    edges = sum(a != b for a, b in itertools.pairwise(seen))
    assert edges in (7, 8)


def test_voltage_on_the_loom() -> None:
    it = scanner("voltage 12.4 A:1 E:1")
    a, e, other = (1 << POINTS[name] for name in ("B:1", "E:1", "B:2"))
    assert it.voltage(a, e, 0.0) == pytest.approx(12.4, abs=0.05)
    assert it.voltage(e, a, 0.0) == pytest.approx(-12.4, abs=0.05)
    assert scanner().voltage(a, other, 0.0) == pytest.approx(0.0, abs=0.02)
    # One bad point among many is not averaged away: all of A is joined.
    assert it.voltage(a | other, e, 0.0) == pytest.approx(12.4, abs=0.05)
    assert scanner("voltage 5 A:1").voltage(a, other, 0.0) == pytest.approx(5.0, abs=0.05)


def test_insulation_that_breaks_down_only_at_a_voltage() -> None:
    it = scanner("breakdown 300 A:1 A:2")
    a, b = 1 << POINTS["B:1"], 1 << POINTS["B:2"]
    assert it.insulation(a, b, 250.0, 1.0, 0.0) > 1e8
    assert it.insulation(a, b, 500.0, 1.0, 0.0) < 1e6
    assert low(it, "A:1") == {"A:1", "B:1"}


def test_a_dwell_too_short_reads_the_charging_current() -> None:
    it = scanner("capacitance 100n A:1", "capacitance 100n A:2")
    a, b = 1 << POINTS["B:1"], 1 << POINTS["B:2"]
    assert it.insulation(a, b, 500.0, 0.01, 0.0) < 1e7 < it.insulation(a, b, 500.0, 2.0, 0.0)


def test_faults_of_the_bench_itself() -> None:
    assert "B:3" in low(scanner("bench stuck-low 6"), "A:1")
    assert low(scanner("bench stuck-high 4"), "A:1") == {"A:1"}
    assert low(scanner("bench dead-driver 1"), "A:1") == set()
    assert low(scanner("bench dead-driver 1"), "B:1") == {"A:1", "B:1"}
    assert low(scanner("bench short 1 2"), "A:1") == {"A:1", "A:2", "B:1", "B:2"}
    off = scanner("bench offset 2").resistance(1, 1 << POINTS["B:1"], 0.0)
    assert off == pytest.approx(2.0, abs=0.2)


def test_names_with_spaces_are_quoted() -> None:
    assert low(scanner('open "W 3" at "rear lamp":"L 1"'), "A2:1") == {"A2:1"}
    assert low(scanner('short "rear lamp" E'), "E:1") == {"E:1", "A:3", "A2:1", "rear lamp:L 1"}


def test_another_seed_is_another_loom_and_meter_of_the_same_kind() -> None:
    it = scanner()
    first, shown = ohm(it, "A:1", "B:1"), it.resistance(1, 8, 0.0)
    it.add("high 2 W1")
    it.sow(5)
    again = ohm(it, "A:1", "B:1")
    assert again != pytest.approx(first + 2.0, abs=1e-6)
    assert again == pytest.approx(first + 2.0, abs=0.02)
    assert it.serial == 0
    it.sow(0)
    it.mend()
    assert (ohm(it, "A:1", "B:1"), it.resistance(1, 8, 0.0)) == (first, shown)


def test_mending_takes_away_what_it_names() -> None:
    it = scanner("open W1", "short A:2 A:3", "missing R1")
    assert [fault.text for fault in it.mend("A:3")] == ["short A:2 A:3"]
    assert [fault.text for fault in it.mend("W1")] == ["open W1"]
    assert it.mend("W1") == ()
    assert [fault.text for fault in it.mend()] == ["missing R1"]
    assert low(it, "A:1") == {"A:1", "B:1"}


def test_a_fault_that_cannot_be_leaves_everything_as_it_was() -> None:
    it = scanner("open W1")
    with pytest.raises(UsageError):
        it.add("missing K1")
    assert [fault.text for fault in it.faults] == ["open W1"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "it ends where a fault is expected"),
        ("opne W1", "There is open."),
        ("open", "it ends where a wire is expected"),
        ("open W9", 'There are W1, W2, "W 3". A name that is more than one word stands in double quotes.'),
        (
            "open W1 at rear lamp:1",
            'There is "rear lamp". A name that is more than one word stands in double',
        ),
        ("open W1 at A:2", "It runs from A:1 to B:1."),
        ("open W1 near A:1", "it should end before 'near'"),
        ("open A:9", "there is no cavity A:9"),
        ("open A", "A has 3 cavities; say which, like A:1"),
        ("short A:1", "it ends where a cavity or splice is expected"),
        ("short A:1 A:1", "both places are A:1"),
        ("short A:1 C:1", "there is no connector C"),
        ("swap A:1 S1", "S1 is a splice"),
        ("high W1", "is no value in ohms"),
        ("high -3 W1", "is no value in ohms"),
        ("leak 22x A:1 A:2", "is no value in ohms"),
        ("reversed R1", "R1 is a resistor; a diode is expected"),
        ("exchange A K", "have different cavities"),
        ("mirror E", "E has one cavity; two or more are expected"),
        ("rotate S1", "S1 is a splice; a connector is expected"),
        ("loose S1 4 Hz", "S1 is a splice; a cavity like ECU:7 is expected"),
        ("blown R1", "R1 is a resistor; a fuse is expected"),
        ("loose A:1", "it ends where a value in hertz is expected"),
        ("loose A:1 0 Hz", "0.001 to 10000 Hz is expected"),
        ('open "W1', "a closing double quote is missing"),
        ("bench stuck-lo 3", "There is stuck-low."),
        ("bench dead-driver x", "is no point"),
    ],
)
def test_a_wrong_text_is_told_what_is_wrong(text: str, told: str) -> None:
    with pytest.raises(UsageError) as caught:
        read_fault(text, parts_loom())
    assert told in f"{caught.value.message} {caught.value.cure}"


def test_the_documented_address_names_a_connector_of_two_words() -> None:
    page = (Path(__file__).parents[2] / "docs/addresses.md").read_text(encoding="utf-8")
    (said,) = re.findall(r"`fault=(\S*%22\S*)`", page)
    end = End("Rear left", "2")
    wire = Wire("W2", End("B", "1"), end, csa_mm2=1.0, length_m=1.0)
    plugs = (
        Connector("B", ConnectorKind.PLUG, (("1",),)),
        Connector("Rear left", ConnectorKind.PLUG, (("1", "2"),)),
    )
    fault = read_fault(unquote(said), Loom("lamp", connectors=plugs, wires=(wire,)))
    assert fault.text == f"open W2 at {end}"


def test_uneven_rows_are_not_mirrored() -> None:
    with pytest.raises(UsageError, match="not equally long"):
        read_fault("mirror P", plug_loom("abc", "de"))


def test_quantities() -> None:
    read = {
        "4.7": 4.7,
        "22k": 22e3,
        "1M": 1e6,
        "10m": 0.01,
        "100n": 1e-7,
        "4.7kΩ": 4.7e3,
        "1e-9F": 1e-9,
        ".5": 0.5,
    }
    assert {text: quantity(text) for text in read} == {
        text: pytest.approx(value) for text, value in read.items()
    }


def test_every_family_of_the_grammar_is_read() -> None:
    from loomproof.virtual.faults import _FAMILIES, GRAMMAR

    written = {line.split()[0] for family in GRAMMAR.splitlines() for line in family.split(" | ")}
    assert written == set(_FAMILIES)


def test_a_relay_in_its_base_shows_its_coil_and_its_contact_at_rest() -> None:
    base = Connector("K", ConnectorKind.RELAY_BASE, (("30", "87", "87a", "85", "86"),))
    terminals = tuple((name, End("K", name)) for name in base.cavities)
    relay = Component("K1", ComponentKind.RELAY, terminals, resistance_ohm=90.0)
    it = Scanner(Loom("relay", connectors=(base,), components=(relay,)))
    assert it.true_resistance(0b01000, 0b10000, 0.0) == pytest.approx(90.0, abs=0.1)
    assert it.true_resistance(0b00001, 0b00100, 0.0) < 0.1
    assert it.true_resistance(0b00001, 0b00010, 0.0) == math.inf
    pulled = Scanner(Loom("relay", connectors=(base,), components=(replace(relay, fitted=False),)))
    assert pulled.true_resistance(0b01000, 0b10000, 0.0) == math.inf


def test_a_coil_with_its_diode_reads_less_one_way() -> None:
    base = Connector("K", ConnectorKind.RELAY_BASE, (("85", "86"),))
    ends = (End("K", "85"), End("K", "86"))
    coil = Component("L1", ComponentKind.COIL, (("1", ends[0]), ("2", ends[1])), resistance_ohm=90.0)
    diode = Component("D1", ComponentKind.DIODE, (("A", ends[0]), ("K", ends[1])))
    it = Scanner(Loom("coil", connectors=(base,), components=(coil, diode)))
    assert it.true_resistance(2, 1, 0.0) == pytest.approx(90.0, abs=0.1)
    assert it.true_resistance(1, 2, 0.0) < 85.0
    # 10 mA would be 0.9 V through 90 ohms; the diode takes its share from 0.65 V on.
    assert 0.5 < it.diode(1, 2, 0.0) < 0.65
    assert it.diode(2, 1, 0.0) == pytest.approx(0.9, abs=0.01)
