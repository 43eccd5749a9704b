"""Contacts and joints by the section that they carry; figures as NOTES.md gives them, typed here."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from loomproof.electrics.joints import contact_ohm, seat_ohm, wire_joint_ohm
from loomproof.electrics.tables import joints
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Settings, Wire
from tests import joints as own

A1, S1 = End("A", "1"), End("S1")


def wired(*sizes: float | None, settings: Settings | None = None) -> Loom:
    """A loom whose cavity A:1 holds wires of these sections, each to a splice."""
    return Loom(
        "wired",
        connectors=(
            Connector("A", ConnectorKind.PLUG, (("1", "2"),)),
            Connector("S1", ConnectorKind.SPLICE),
        ),
        wires=tuple(Wire(f"W{k}", A1, S1, "RD", size, 1.0) for k, size in enumerate(sizes)),
        settings=settings or Settings(),
    )


@pytest.mark.parametrize(
    ("csa_mm2", "contact_mohm", "joint_mohm"),
    [(0.35, 10.0, 5.0), (1.0, 10.0, 5.0), (None, 10.0, 5.0), (1.25, 5.0, 1.5), (2.0, 5.0, 1.5),
     (2.474, 2.0, 0.5), (6.0, 2.0, 0.5), (10.0, 1.0, 0.3), (16.0, 0.3, 0.1), (95.0, 0.3, 0.1)],
)  # fmt: skip
def test_a_thicker_wire_meets_a_better_contact(
    csa_mm2: float | None, contact_mohm: float, joint_mohm: float
) -> None:
    """35/0.30 is 2.474 mm²; a wire without a section has the loom's, 0.5 mm²."""
    loom = wired(csa_mm2)
    assert contact_ohm(loom, A1) == pytest.approx(contact_mohm / 1000.0)
    assert wire_joint_ohm(loom, loom.wires[0], A1) == pytest.approx(joint_mohm / 1000.0)
    assert wire_joint_ohm(loom, loom.wires[0], S1) == pytest.approx(joint_mohm / 1000.0)


def test_the_thickest_wire_says_what_contact_it_is_and_a_splice_has_none() -> None:
    assert contact_ohm(wired(0.5, 4.0), A1) == pytest.approx(0.002)
    assert contact_ohm(wired(0.5, 4.0), End("A", "2")) == pytest.approx(0.010)
    assert contact_ohm(wired(0.5, 4.0), S1) == 0.0


def test_what_the_loom_states_holds_for_every_section() -> None:
    stated = Settings(stated=frozenset({"contact_ohm", "crimp_ohm", "splice_ohm"}))
    loom = wired(35.0, settings=stated)
    assert contact_ohm(loom, A1) == 0.010
    assert wire_joint_ohm(loom, loom.wires[0], A1) == wire_joint_ohm(loom, loom.wires[0], S1) == 0.005
    assert seat_ohm(stated, 40.0) == 0.010
    assert contact_ohm(wired(1.5, settings=Settings(contact_ohm=0.02)), A1) == 0.02


def test_crimps_and_splices_are_stated_apart() -> None:
    loom = wired(2.5, settings=Settings(splice_ohm=0.02))
    assert wire_joint_ohm(loom, loom.wires[0], A1) == pytest.approx(0.0005)
    assert wire_joint_ohm(loom, loom.wires[0], S1) == 0.02


@pytest.mark.parametrize(
    ("rating_a", "milliohm"), [(None, 10.0), (5.0, 5.0), (10.0, 5.0), (15.0, 2.0), (60.0, 2.0)]
)
def test_seats_by_the_size_of_the_fuse(rating_a: float | None, milliohm: float) -> None:
    assert seat_ohm(Settings(), rating_a) == pytest.approx(milliohm / 1000.0)


def test_a_seat_at_its_rating_loses_less_than_two_watts_up_to_30_amperes() -> None:
    """A blade that loses more discolours its seat (common practice): I²R at the rating."""
    for rating_a in (5.0, 10.0, 15.0, 20.0, 25.0, 30.0):
        assert rating_a**2 * seat_ohm(Settings(), rating_a) < 2.0


def test_every_row_names_its_source_and_figures_fall_with_the_section() -> None:
    rows = joints()
    assert all(row.source and row.status == "common practice" for row in rows)
    assert [row.from_mm2 for row in rows] == sorted(row.from_mm2 for row in rows)
    for one, other in pairwise(rows):
        assert one.contact_ohm > other.contact_ohm > other.joint_ohm


def test_defaults_by_section_change_no_description() -> None:
    """The settings of a loom stay what they were, so a loom that states nothing keeps its digest."""
    loom = wired(2.5)
    assert loom.settings == Settings()
    assert loom.digest == replace(loom, settings=Settings()).digest


@pytest.mark.parametrize("csa_mm2", [0.5, 1.0, 1.25, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 35.0])
def test_the_oracles_read_the_notes_as_the_product_does(csa_mm2: float) -> None:
    loom = wired(csa_mm2)
    assert own.mated_ohm(loom, A1) == pytest.approx(contact_ohm(loom, A1))
    assert own.joint_ohm(loom.settings, loom.wires[0], S1) == pytest.approx(
        wire_joint_ohm(loom, loom.wires[0], S1)
    )
