"""Where readings of both ends put a short, by Ohm's law and Kirchhoff's on two wires side by side."""

from __future__ import annotations

import pytest

from loomproof.diagnosis import Effect, explain, named, narrow, read_observation
from loomproof.loom.model import End, Loom, Wire, ends_of
from loomproof.results.findings import Finding
from loomproof.results.measured import Decision, Judged, Measured, Path
from tests.diagnosis.test_wiring_faults import plug

WIRE_OHM = 0.09
LOOM = Loom(
    "rear",
    connectors=(plug("Fuse box", "B1 B2"), plug("Rear left", "1 2")),
    wires=tuple(
        Wire(f"W{k}", End("Fuse box", f"B{k}"), End("Rear left", f"{k}"), colour="RD", csa_mm2=0.75)
        for k in (1, 2)
    ),
)
BOX, REAR = (tuple(LOOM.by_name[name].ends) for name in ("Fuse box", "Rear left"))


def shorted_at(part: float, u_ohm: float, touch_ohm: float = 0.02) -> Finding:
    """The two wires joined at ``part`` of their length from the fuse box, each reading by Ohm's law."""
    read = [
        Path(BOX[0], BOX[1], 2 * part * WIRE_OHM + touch_ohm, u_ohm),
        Path(BOX[0], REAR[1], WIRE_OHM + touch_ohm, u_ohm),
    ]
    judged = tuple(
        Judged(a, b, WIRE_OHM, u_ohm, WIRE_OHM, 0.2, Decision.PASS, wires=(f"W{k}",))
        for k, (a, b) in enumerate(zip(BOX, REAR, strict=True), 1)
    )
    nets = tuple(frozenset(pair) for pair in zip(BOX, REAR, strict=True))
    whole = frozenset((*BOX, *REAR))
    (finding,) = explain(
        LOOM, Measured(nets, (whole,), complete=True, judged=judged, paths=tuple(read), resistance_readings=4)
    )
    return finding


@pytest.mark.parametrize(("part", "home", "other"), [(0.0, BOX, REAR), (1.0, REAR, BOX)])
def test_where_both_ends_tell_the_place_that_they_tell_comes_first(
    part: float, home: tuple[End, ...], other: tuple[End, ...]
) -> None:
    finding = shorted_at(part, 0.004)
    assert finding.title.startswith(f"Short between {home[0]} on W1")
    assert finding.cavities == home
    assert str(home[0]) in finding.places[0]
    assert finding.repair[0].startswith(f"Look at {home[0]} and {home[1]} first")
    assert str(other[0]) in finding.places[-1]  # ruled out: the last to look at


@pytest.mark.parametrize(
    ("part", "homes"), [(0.0, "Fuse box, at Rear left"), (1.0, "Rear left, at Fuse box")]
)
def test_where_they_do_not_tell_the_heading_claims_no_end(part: float, homes: str) -> None:
    finding = shorted_at(part, 0.117)
    assert finding.title == f"Short between W1 (red) and W2 (red): at {homes} or along them"
    first, second = (BOX, REAR) if homes.startswith("Fuse") else (REAR, BOX)
    assert finding.cavities == (*first, *second)
    assert finding.repair[0].startswith(f"Look at {first[0]} and {first[1]} first, then at {second[0]}")


def test_in_the_middle_both_ends_are_ruled_out() -> None:
    finding = shorted_at(0.5, 0.004)
    assert finding.title == "Short between W1 (red) and W2 (red), along them and not at their ends"
    assert finding.repair[0].startswith("Look along the wires first")
    assert "between Fuse box and Rear left" in finding.places[0]


def saw(finding: Finding, *texts: str) -> Finding:
    known = named((finding,))
    (after,), taken = narrow((finding,), [read_observation(text, known) for text in texts])
    assert {each.effect for each in taken} == {Effect.NARROWS}
    return after


@pytest.mark.parametrize(("part", "u_ohm"), [(0.0, 0.117), (1.0, 0.117), (0.0, 0.004)])
def test_a_place_seen_to_be_sound_is_advised_no_more(part: float, u_ohm: float) -> None:
    finding = shorted_at(part, u_ohm)
    after = saw(finding, "Fuse box:B1 sound", "Fuse box:B2 sound")
    shown = " ".join((after.title, *after.places, *after.repair))
    assert "Fuse box" not in shown
    assert not set(after.cavities) & set(BOX)
    assert not any(other.cavities == BOX for other in after.alternatives if other.cause == "touching")
    assert ("Rear left" in after.title) == (u_ohm > 0.1)


@pytest.mark.parametrize("u_ohm", [0.004, 0.117])
def test_a_place_that_a_look_names_can_be_found_bad(u_ohm: float) -> None:
    after = saw(shorted_at(0.0, u_ohm), "Rear left:1 bad")
    assert after.cavities == ends_of('"Rear left":1 "Rear left":2')
    assert "Rear left" in after.title
    assert "Fuse box" not in after.repair[0]
