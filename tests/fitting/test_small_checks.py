"""What is unplugged for a check, which wires get a fuse row, and where two feeds meet: of small looms."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.model import Circuit, Connector, ConnectorKind, End, Loom, Need, Wire
from loomproof.results.fitting import Fault
from tests.fitting.test_small_looms import chain, check_of


def test_what_is_probed_is_unplugged_unless_it_is_a_holder_or_a_ring() -> None:
    """P:1 is probed from the holder H, P:2 from the ring E; E:1 from the plug P, which has to come off."""
    assert "H" not in check_of(chain(), "P:1", Fault.NOT_JOINED).off
    assert "E" not in check_of(chain(), "P:2", Fault.NOT_JOINED).off
    found = check_of(chain(), "E:1", Fault.NOT_JOINED)
    assert found.off[0] == "P"
    assert "P, B unplugged" in found.text


@pytest.mark.parametrize(
    ("fuse", "need", "row"),
    [
        ("5 A", Need.NEEDED, ("5 A", 5.0)),
        ("5 A", Need.UNUSED, None),
        ("", Need.NEEDED, None),
        ("somewhere", Need.NEEDED, None),
    ],
)
def test_a_wire_that_no_feed_reaches_has_the_fuse_that_its_circuit_names(
    fuse: str, need: Need, row: tuple[str, float] | None
) -> None:
    circuits = (*chain().circuits[:3], Circuit("signal", "", "", 0.01, fuse, need=need))
    rows = {one.wire: (one.fuse, one.rating_a) for one in fitting_sheet(chain(circuits=circuits)).fuses}
    if fuse == "5 A" and need is Need.NEEDED:
        assert rows["W4"] == row
    else:
        assert "W4" not in rows


def two_feeds(plugs: int) -> Loom:
    """A permanent and an ignition feed, joined at a splice from which so many plugs are fed."""
    names = [f"P{k}" for k in range(plugs)]
    return Loom(
        "two feeds",
        connectors=(
            Connector("CAR", ConnectorKind.SOCKET, (("1", "2"),)),
            Connector("S1", ConnectorKind.SPLICE),
            *(Connector(name, ConnectorKind.PLUG, (("1",),)) for name in names),
        ),
        wires=(
            Wire("W1", End("CAR", "1"), End("S1"), "RD", 1.0, 1.0, "always"),
            Wire("W2", End("CAR", "2"), End("S1"), "BK", 1.0, 1.0, "ignition"),
            *(Wire(f"V{name}", End("S1"), End(name, "1"), "VT", 1.0, 1.0, "load") for name in names),
        ),
        circuits=(
            Circuit("always", "", "30", 5.0, "10 A"),
            Circuit("ignition", "", "15", 5.0, "5 A"),
            Circuit("load", "", "", 1.0),
        ),
    )


@pytest.mark.parametrize(("plugs", "cut"), [(2, False), (3, False), (4, True)])
def test_two_feeds_that_meet_are_told_with_six_places_at_most(plugs: int, cut: bool) -> None:
    """CAR:1, CAR:2, the splice and each plug: with three plugs they are six."""
    texts = [
        warn for warn in fitting_sheet(two_feeds(plugs)).warnings if "two feeds can be joined" in warn.text
    ]
    (warn,) = texts
    assert ("always (permanent) and ignition (ignition)" in warn.text) is True
    assert len(warn.ends) == plugs + 3
    assert (", …. One may feed" in warn.text) is cut
    apart = replace(two_feeds(plugs), wires=tuple(w for w in two_feeds(plugs).wires if w.name != "W2"))
    assert not any("two feeds can be joined" in warn.text for warn in fitting_sheet(apart).warnings)
