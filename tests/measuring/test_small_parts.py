"""Parts of few ohms: closed relay contacts, shunts, and coils near a conductor's bound."""

from __future__ import annotations

import pytest

from tests.measuring.scanner_bench import loom_of, proved

RELAY = "K1,relay,85=A:1 86=A:2 30=A:3 87=A:4 87a=A:5,85,15,\nR1,resistor,1=A:7 2=A:8,1000,5,\n"
SHUNT = "R1,resistor,1=A:3 2=A:5,0.1,5,\nR2,resistor,1=A:7 2=A:8,1000,5,\n"
CONTACTS = "1 2 3 4 5 6 7 8"


def titles(components: str, *faults: str) -> list[str]:
    _, findings = proved(loom_of(CONTACTS, components), *faults)
    return [finding.title for finding in findings]


@pytest.mark.parametrize("components", [RELAY, SHUNT])
def test_a_loom_with_parts_of_milliohms_passes_as_described(components: str) -> None:
    assert titles(components) == []


@pytest.mark.parametrize(
    ("components", "fault", "title"),
    [
        (RELAY, "open W1", "W1 (black) open between A:1 and B:1"),
        (RELAY, "open W3", "W3 (black) open between A:3 and B:3"),
        (RELAY, "short A:3 A:7", "Short between W3 (black) and W7 (black): at "),
        (RELAY, "mirror B", "B mirrored (left for right): pinned as seen from the wrong face"),
        (RELAY, "missing K1", "Relay K1 open or missing between A:1, A:2, A:3, A:4 and A:5"),
        (SHUNT, "open W8", "W8 (black) open between A:8 and B:8"),
        (SHUNT, "open W3", "W3 (black) open between A:3 and B:3"),
        (SHUNT, "mirror B", "B mirrored (left for right): pinned as seen from the wrong face"),
        (SHUNT, "missing R1", "Resistor R1 open or missing between A:3 and A:5"),
    ],
)
def test_the_fault_beside_them_is_told_and_nothing_else(components: str, fault: str, title: str) -> None:
    (told,) = titles(components, fault)
    assert told.startswith(title)


def test_a_shunt_that_a_fine_meter_reads_too_low_is_told() -> None:
    loom = loom_of(CONTACTS, "R1,resistor,1=A:3 2=A:5,0.9,5,\n")
    _, findings = proved(loom, "short A:3 A:5")
    assert [finding.components for finding in findings] == [("R1",)]


@pytest.mark.parametrize("ohm", [2, 10, 30, 46])
@pytest.mark.parametrize("fault", ["mirror B", "mirror A", "swap B:1 B:5"])
def test_a_turned_connector_is_no_short_across_a_part_of_few_ohms(ohm: int, fault: str) -> None:
    loom = loom_of("1 2 3 4 5 6", f"R1,resistor,1=B:1 2=B:2,{ohm},5,\n")
    _, findings = proved(loom, fault)
    assert len(findings) == 1, [finding.title for finding in findings]
    assert findings[0].kind == "miswire"


@pytest.mark.parametrize("ohm", [30, 220, 4700])
@pytest.mark.parametrize("plug", ["A", "B"])
@pytest.mark.parametrize("pair", [("1", "5"), ("1", "3"), ("1", "4"), ("2", "5")])
def test_contacts_that_are_exchanged_with_a_part_on_one_are_told_where_they_are(
    ohm: int, plug: str, pair: tuple[str, str]
) -> None:
    loom = loom_of("1 2 3 4 5 6", f"R1,resistor,1=A:1 2=A:2,{ohm},5,\n")
    one, other = (f"{plug}:{cavity}" for cavity in pair)
    _, findings = proved(loom, f"swap {one} {other}")
    assert len(findings) == 1, [finding.title for finding in findings]
    assert findings[0].title.endswith(f"crossed at {one} and {other}")


def test_a_coil_read_where_the_contact_of_its_relay_hangs_is_not_missing() -> None:
    (told,) = titles(RELAY, "swap A:1 A:3")
    assert told == "W1 (black) and W3 (black) crossed at A:1 and A:3"


def test_a_relay_that_is_out_is_told_once_though_its_coil_lay_beside_a_resistor() -> None:
    (told,) = titles(RELAY + "R2,resistor,1=A:1 2=A:2,47,5,\n", "missing K1")
    assert told.startswith("Relay K1 open or missing")


COIL = "L1,coil,1=A:1 2=A:2,60,10,\n"
NO_OHMS = "L1,coil,1=A:1 2=A:2,,,\n"
TWO = "R1,resistor,1=A:1 2=A:2,100,5,\nR2,resistor,1=A:1 2=A:3,220,5,\n"
BESIDE = "R1,resistor,1=A:1 2=A:2,100,5,\nR2,resistor,1=A:1 2=A:2,220,5,\n"
DIODE = "D1,diode,A=A:1 K=A:2,,,0.65\n"


@pytest.mark.parametrize("ohm", ["20", "93", "700", "5k"])
@pytest.mark.parametrize("parts", [COIL, TWO, BESIDE, DIODE, DIODE + TWO])
def test_a_bad_contact_that_parts_and_a_wire_share_is_told_once(parts: str, ohm: str) -> None:
    (finding,) = proved(loom_of("1 2 3", parts), f"high {ohm} A:1")[1]
    assert "A:1" in {str(end) for end in finding.cavities}
    assert finding.kind == "high_resistance"
    if (parts, ohm) != (DIODE, "20"):  # the diode alone reads within its bounds behind so little
        assert finding.cause == "resistive_contact"
        assert finding.components


@pytest.mark.parametrize("parts", [COIL, TWO, BESIDE, DIODE, DIODE + TWO])
def test_an_open_contact_that_parts_and_a_wire_share_is_told_once(parts: str) -> None:
    (finding,) = proved(loom_of("1 2 3", parts), "open A:1")[1]
    assert finding.cause == "bad_contact"
    assert [str(end) for end in finding.cavities] == ["A:1"]
    assert set(finding.components) == {line[:2] for line in parts.splitlines()}


def test_a_wire_and_a_part_that_no_one_contact_makes_read_so_are_two() -> None:
    findings = proved(loom_of("1 2", COIL), "high 93 W1", "value 200 L1")[1]
    assert [(f.wires, f.components) for f in findings] == [((), ("L1",)), (("W1",), ())]


def test_an_open_wire_with_a_missing_part_stands_besides_the_contact_that_reads_the_same() -> None:
    (finding,) = proved(loom_of("1 2", COIL), "open W1", "missing L1")[1]
    assert finding.cause == "bad_contact"
    other = finding.alternatives[0]
    assert (other.wires, other.components) == (("W1",), ("L1",))


@pytest.mark.parametrize("ohm", ["2", "20", "93", "5k"])
@pytest.mark.parametrize("parts", [COIL, NO_OHMS, DIODE])
@pytest.mark.parametrize("place", ["W1", "B:1", "W2"])
def test_a_bad_wire_beside_a_part_is_no_open_one(parts: str, ohm: str, place: str) -> None:
    (finding,) = proved(loom_of("1 2 3", parts), f"high {ohm} {place}")[1]
    assert finding.cause == "resistive_wire"
    assert finding.wires == (f"W{place[-1]}",)


def test_a_short_beside_an_open_part_is_told_on_its_own_side_of_it() -> None:
    loom = loom_of("1 2 3 5 7 8", "R1,resistor,1=A:3 2=A:5,0.1,5,\n", spare="4 6")
    findings = proved(loom, "missing R1", "short A:5 A:4")[1]
    assert [finding.title for finding in findings] == [
        "Wire added in spare cavity A:4, joined to A:5 on W5 (black)",
        "Resistor R1 open or missing between A:3 and A:5",
    ]


@pytest.mark.parametrize("ohm", ["0.1", "8.2"])
def test_a_path_between_nets_that_coils_couple_is_told_and_no_coil_besides(ohm: str) -> None:
    """90 Ω and the path lie beside the coil of 30 Ω then: 23 Ω, a fifth less than it has alone."""
    loom = loom_of("1 2 3 4", "L1,coil,1=A:1 2=A:2,90,10,\nL2,coil,1=A:2 2=A:3,30,10,\n")
    (finding,) = proved(loom, f"part {ohm} A:1 A:3")[1]
    assert finding.kind == "short"
    assert {str(end) for end in finding.cavities} == {"A:1", "A:3", "B:1", "B:3"}  # at which end is not read
