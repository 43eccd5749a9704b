"""What is broken within a circuit that is unused here is not claimed; what reaches beyond it still fails."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomproof.judgement.unused import idle_ends, set_aside
from loomproof.loom.model import (
    Circuit,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Loom,
    Need,
    Wire,
    end_of,
)
from loomproof.results.document import ClaimEntry
from loomproof.results.measured import Decision, Measured, OneWay, Path


def ends(text: str) -> tuple[End, ...]:
    return tuple(end_of(word) for word in text.split())


def net(text: str) -> frozenset[End]:
    return frozenset(ends(text))


CIRCUITS = (
    Circuit("used", ""),
    Circuit("idle", "", need=Need.UNUSED),
    Circuit("spare", "", need=Need.UNUSED),
)
LOOM = Loom(
    "unused",
    connectors=tuple(
        Connector(name, ConnectorKind.PLUG, (tuple(str(k) for k in range(1, 9)),)) for name in ("A", "B", "C")
    ),
    wires=(
        Wire("W1", End("A", "1"), End("B", "1"), circuit="used"),
        Wire("W2", End("A", "2"), End("B", "2"), circuit="idle"),
        Wire("W3", End("A", "3"), End("B", "3"), circuit="spare"),
        # One net of both: A:4 and B:4 are in use, C:4 is not.
        Wire("W4", End("A", "4"), End("B", "4"), circuit="used"),
        Wire("W5", End("B", "4"), End("C", "4"), circuit="idle"),
        Wire("W6", End("A", "5"), End("B", "5")),
        Wire("W7", End("A", "6"), End("B", "6"), circuit="idle"),
    ),
    components=(
        Component(
            "R1", ComponentKind.RESISTOR, (("1", End("A", "7")), ("2", End("B", "7"))), 100.0, circuit="idle"
        ),
        Component(
            "R2", ComponentKind.RESISTOR, (("1", End("A", "8")), ("2", End("B", "8"))), 100.0, circuit="used"
        ),
    ),
    circuits=CIRCUITS,
)
NETS = tuple(net(text) for text in ("A:1 B:1", "A:2 B:2", "A:3 B:3", "A:4 B:4 C:4", "A:5 B:5", "A:6 B:6"))
SOUND = Measured(NETS, NETS, complete=True)


def joined(*groups: str) -> Measured:
    """Return the loom with these cavities found joined, and all else alone where it was of their nets."""
    made = tuple(net(text) for text in groups)
    taken = frozenset().union(*made)
    return replace(SOUND, groups=(*made, *(each for each in NETS if not each & taken)))


def claim(kind: str, where: str, decision: Decision = Decision.FAIL, **facts: object) -> ClaimEntry:
    return ClaimEntry(
        kind=kind,  # type: ignore[arg-type]
        subject=where.split()[0],
        statement="said",
        decision=decision,
        rule="",
        cavities=ends(where) if ":" in where else (),
        **facts,  # type: ignore[arg-type]
    )


def test_cavities_of_one_unused_circuit_are_idle() -> None:
    """C:4 has a wire of the unused circuit alone; B:4 has one of each; what has no circuit is never idle."""
    found = {str(end): circuit for end, circuit in idle_ends(LOOM, {}).items()}
    assert found == {
        "A:2": "idle", "B:2": "idle", "A:3": "spare", "B:3": "spare", "C:4": "idle",
        "A:6": "idle", "B:6": "idle", "A:7": "idle", "B:7": "idle",
    }  # fmt: skip


def test_without_an_unused_circuit_every_claim_stands() -> None:
    loom = replace(LOOM, circuits=tuple(replace(one, need=Need.NEEDED) for one in CIRCUITS))
    claims = [claim("continuity", "A:2 B:2"), claim("component", "R1")]
    found = set_aside(loom, {}, SOUND, claims)
    assert (found.claims, found.texts) == (tuple(claims), ())


OPEN_IDLE = joined("A:2", "B:2")
ASIDE = [
    ("continuity", "A:2 B:2", OPEN_IDLE),
    ("isolation", "A:2 B:2", joined("A:2 B:2 A:6 B:6")),
    ("resistance", "A:2 B:2", SOUND),
    ("resistance", "A:2 B:2", joined("A:2 B:2 A:6 B:6")),
    ("component", "R1", SOUND),
]
KEPT = [
    ("continuity", "A:1 B:1", joined("A:1", "B:1")),
    ("continuity", "A:5 B:5", joined("A:5", "B:5")),
    ("isolation", "A:2 B:2", joined("A:2 B:2 A:1 B:1")),
    ("isolation", "A:2 B:2", joined("A:2 B:2 A:3 B:3")),
    ("isolation", "A:2 B:2", replace(SOUND, leaks=(Path(end_of("B:2"), end_of("B:1"), 5.0, 0.1),))),
    ("isolation", "A:2 B:2", replace(SOUND, leaks=(Path(end_of("B:1"), end_of("A:2"), 5.0, 0.1),))),
    ("isolation", "A:2 B:2", replace(SOUND, one_way=(OneWay(end_of("A:2"), end_of("A:1")),))),
    ("isolation", "A:2 B:2", replace(SOUND, one_way=(OneWay(end_of("A:1"), end_of("B:2")),))),
    ("resistance", "A:2 B:2", joined("A:2 B:2 A:1 B:1")),
    ("resistance", "A:2 B:2", joined("A:2 B:2 A:3 B:3")),
    ("resistance", "A:1 B:1", SOUND),
    ("component", "R2", SOUND),
    ("component", "R9", SOUND),
]


@pytest.mark.parametrize(("kind", "where", "measured"), ASIDE)
def test_what_stays_within_one_unused_circuit_is_set_aside_and_said(
    kind: str, where: str, measured: Measured
) -> None:
    broken = claim(kind, where)
    found = set_aside(LOOM, {}, measured, [broken])
    assert found.claims == ()
    assert found.texts == (f"idle is unused here, not claimed: {broken.subject}, said.",)


@pytest.mark.parametrize(("kind", "where", "measured"), KEPT)
def test_what_reaches_beyond_it_fails_as_before(kind: str, where: str, measured: Measured) -> None:
    broken = claim(kind, where)
    found = set_aside(LOOM, {}, measured, [broken])
    assert (found.claims, found.texts) == ((broken,), ())


@pytest.mark.parametrize(
    ("decision", "measured_ohm", "aside"),
    [
        (Decision.FAIL, 0.2, True),
        (Decision.UNDECIDED, 0.13, True),
        (Decision.UNDECIDED, 0.11, False),
        (Decision.PASS, 0.05, False),
    ],
)
def test_only_what_fails_or_may_lie_beyond_is_set_aside(
    decision: Decision, measured_ohm: float, aside: bool
) -> None:
    one = claim(
        "resistance", "A:2 B:2", decision, measured_ohm=measured_ohm, uncertainty_ohm=0.02, limit_ohm=0.12
    )
    found = set_aside(LOOM, {}, SOUND, [one])
    assert (found.claims == ()) is aside
    assert bool(found.texts) is aside


def test_of_a_net_that_is_used_in_part_the_used_part_is_claimed() -> None:
    """C:4 of the unused circuit hangs off a net whose other two cavities are in use."""
    broken = claim("continuity", "A:4 B:4 C:4", wires=("W4", "W5"))
    found = set_aside(LOOM, {}, joined("A:4 B:4", "C:4"), [broken])
    (left,) = found.claims
    assert (left.decision, left.cavities, left.wires) == (Decision.PASS, ends("A:4 B:4"), ("W4",))
    assert (left.subject, left.statement) == ("A:4", "2 cavities in use are joined")
    assert found.texts == ("idle is unused here, not claimed: that it is joined to A:4.",)
    for measured in (
        joined("A:4", "B:4", "C:4"),  # The used ones are not joined.
        joined("A:4", "B:4 C:4"),
        joined("A:4 B:4 A:1 B:1", "C:4"),  # They are, and to another net as well.
        joined("A:4 B:4", "C:4 A:1 B:1"),  # The unused one touches another net.
    ):
        assert set_aside(LOOM, {}, measured, [broken]).claims == (broken,)
    unseen = replace(SOUND, groups=(net("A:4"), net("C:4")))
    assert set_aside(LOOM, {}, unseen, [broken]).claims == (broken,), "no point goes to B:4"
    other = claim("isolation", "A:4 B:4 C:4")
    assert set_aside(LOOM, {}, joined("A:4 B:4", "C:4"), [other]).claims == (other,)


def test_one_used_cavity_has_nothing_to_be_joined_to() -> None:
    broken = claim("continuity", "B:4 C:4")
    (left,) = set_aside(LOOM, {}, joined("A:4 B:4", "C:4"), [broken]).claims
    assert left is broken, "the group reaches a cavity that the claim does not speak of"
    alone = replace(LOOM, wires=tuple(wire for wire in LOOM.wires if wire.name != "W4"))
    wires = (*alone.wires, Wire("W8", End("B", "4"), End("B", "4"), circuit="used"))
    (left,) = set_aside(replace(alone, wires=wires), {}, joined("A:4", "B:4", "C:4"), [broken]).claims
    assert (left.decision, left.statement) == (
        Decision.PASS,
        "the one cavity in use has nothing else to be joined to",
    )
    assert left.wires == ()
