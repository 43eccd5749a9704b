"""What speaks for one of several equally cheap explanations: readings of parts and paths, by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest

from loomproof.diagnosis.entangled import MOST_WAYS, low_pairs, senses_alone, ways_apart
from loomproof.diagnosis.explain import labels_of
from loomproof.diagnosis.faults import Righted
from loomproof.diagnosis.search import Explanation
from loomproof.diagnosis.strain import PartStrain
from loomproof.diagnosis.weights import weights
from loomproof.diagnosis.wiring import wiring_of
from loomproof.diagnosis.writing import Writer
from loomproof.loom.model import Component, ComponentKind, End, Loom, end_of, ends_of
from loomproof.results.measured import Decision, Judged, JudgedDiode, Measured, OneWay, Path
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, nets, plug

TABLE = weights()


def resistor(name: str, a: str, b: str, ohm: float | None = 470.0, **more: Any) -> Component:
    return Component(name, ComponentKind.RESISTOR, (("1", end_of(a)), ("2", end_of(b))), ohm, 5.0, **more)


R1 = resistor("R1", "A:2", "A:4")
D1 = Component("D1", ComponentKind.DIODE, (("A", end_of("A:2")), ("K", end_of("A:4"))))


def read(a: str, b: str, decision: Decision, *, name: str = "R1", bounded: bool = True) -> Judged:
    ohm = 470.0 if decision is not Decision.FAIL else math.inf
    limit = 494.0 if bounded else math.inf
    return Judged(end_of(a), end_of(b), ohm, 5.0, 470.0, limit, decision, 446.0, name)


def diode(decision: Decision) -> JudgedDiode:
    forward = 0.6 if decision is Decision.PASS else math.inf
    return JudgedDiode("D1", end_of("A:2"), end_of("A:4"), forward, math.inf, "V", decision, reversed=False)


class At:
    """The strain of a measured loom whose contacts A:2 and A:3, or B:2 and B:3, are crossed."""

    def __init__(self, *parts: Component, groups: str = "A:2 B:3, A:3 B:2", **more: Any) -> None:
        named = nets(*groups.split(", ")) if groups else ()
        rest = tuple(net for net in EXPECTED if not any(net & group for group in named))
        loom = replace(LOOM, components=parts)
        self.measured = Measured(EXPECTED, (*named, *rest), complete=True, **more)
        self.wiring = wiring_of(loom, EXPECTED, TABLE)
        self.labels = labels_of(self.wiring, self.measured)
        writer = Writer(loom, self.wiring, self.measured, None, TABLE)
        self.strain = PartStrain(writer, self.measured, self.labels)

    def crossed(self, plug: str) -> Righted:
        """The contacts of this plug taken as crossed."""
        leaf = self.wiring.leaf_of
        two, three = leaf[End(plug, "2")], leaf[End(plug, "3")]
        labels = list(self.labels)
        labels[two], labels[three] = labels[three], labels[two]
        return Righted(tuple(labels), ((two, three), (three, two)))


@pytest.mark.parametrize(
    ("decision", "at_a", "at_b"),
    [(Decision.PASS, 1, 0), (Decision.UNDECIDED, 1, 0), (Decision.FAIL, 1, 1)],
)
def test_a_part_on_a_crossed_wire_says_which_end_is_crossed(decision: Decision, at_a: int, at_b: int) -> None:
    """R1 from A:2 to A:4 reads right: were A crossed, it would hang on A:3's conductor.

    It reads open: were B crossed, it would be missing besides; were A crossed, a path from A:3 would show.
    """
    seen = At(R1, judged=(read("A:2", "A:4", decision),))
    assert seen.strain(seen.crossed("A")) == at_a
    assert seen.strain(seen.crossed("B")) == at_b


def test_a_part_found_where_the_explanation_puts_it_is_borne_out() -> None:
    """R1 reads open from A:2 and a path of its ohms runs from A:3 to A:4: A is crossed."""
    across = Path(end_of("A:3"), end_of("A:4"), 470.0, 5.0)
    seen = At(R1, judged=(read("A:2", "A:4", Decision.FAIL),), leaks=(across,))
    assert seen.strain(seen.crossed("A")) == 0
    assert seen.strain(seen.crossed("B")) == 2


def test_what_only_has_to_read_high_passes_anywhere() -> None:
    seen = At(R1, judged=(read("A:2", "A:4", Decision.PASS, bounded=False),))
    assert seen.strain(seen.crossed("A")) == seen.strain(seen.crossed("B")) == 0


@pytest.mark.parametrize(("decision", "at_a", "at_b"), [(Decision.PASS, 1, 0), (Decision.FAIL, 1, 1)])
def test_a_diode_says_so_too(decision: Decision, at_a: int, at_b: int) -> None:
    seen = At(D1, diodes=(diode(decision),))
    assert seen.strain(seen.crossed("A")) == at_a
    assert seen.strain(seen.crossed("B")) == at_b


def test_a_reading_of_no_part_says_nothing_here() -> None:
    seen = At(R1, judged=(read("A:2", "B:3", Decision.FAIL, name=""),))
    assert seen.strain(seen.crossed("A")) == seen.strain(seen.crossed("B")) == 0
    assert not seen.strain.touches(set(seen.labels))


@pytest.mark.parametrize(
    ("more", "ends"),
    [
        ({"judged": (read("A:2", "A:4", Decision.PASS),)}, "A:2 A:4"),
        ({"judged": (read("A:2", "A:4", Decision.PASS, name=""),)}, ""),
        ({"diodes": (diode(Decision.PASS),)}, "A:2 A:4"),
        ({"paths": (Path(end_of("A:1"), end_of("A:6"), 9.0, 1.0),)}, "A:1 A:6"),
        ({"leaks": (Path(end_of("A:1"), end_of("A:6"), 9.0, 1.0),)}, "A:1 A:6"),
        ({"one_way": (OneWay(end_of("A:1"), end_of("A:6")),)}, "A:1 A:6"),
    ],
)
def test_readings_of_parts_and_paths_touch_the_groups_of_their_ends(more: dict[str, Any], ends: str) -> None:
    seen = At(R1, D1, **more)
    label = dict(zip(seen.wiring.leaf_ends, seen.labels, strict=True))
    touched = {label[end] for end in ends_of(ends)} if ends else set()
    for one in set(seen.labels):
        assert seen.strain.touches({one}) == (one in touched)


def test_crossed_contacts_of_one_housing_side_by_side_come_first() -> None:
    """A is 1 2 3 above 4 5 6: 1 and 2 are neighbours, 1 and 3 are not; a ring of three has three pairs."""
    seen = At()
    leaf = seen.wiring.leaf_of

    def apart(*cycles: str) -> tuple[int, int]:
        told = tuple(tuple(leaf[end] for end in ends_of(cycle)) for cycle in cycles)
        return seen.strain.apart(Explanation(0, told, (), (), ()))

    assert apart("A:1 A:2") == (1, 0)
    assert apart("A:1 A:4") == (1, 0)
    assert apart("A:1 A:3") == (1, 2)
    assert apart("A:1 A:2 A:3") == (1, 1)
    assert apart("A:1 B:1") == (2, 2)
    assert apart("A:1 A:2", "B:1 B:3") == (2, 2)
    assert apart() == (0, 0)


COIL = Component("K1", ComponentKind.COIL, (("1", end_of("A:2")), ("2", end_of("A:3"))), 80.0)


@pytest.mark.parametrize(
    ("part", "low"),
    [
        (COIL, True),
        (replace(COIL, fitted=False), False),
        (replace(COIL, resistance_ohm=None), True),
        (resistor("R", "A:2", "A:3", 10_000.0), True),
        (resistor("R", "A:2", "A:3", 10_001.0), False),
        (resistor("R", "A:2", "A:3", None), False),
        (resistor("R", "A:2", "A:3", 0.5), False),
        (Component("D", ComponentKind.DIODE, (("A", end_of("A:2")), ("K", end_of("A:3")))), False),
        (Component("C", ComponentKind.CAPACITOR, (("1", end_of("A:2")), ("2", end_of("A:3")))), False),
        (Component("F", ComponentKind.FUSE, (("1", end_of("A:2")), ("2", end_of("A:3")))), False),
    ],
)
def test_parts_that_read_low_both_ways(part: Component, low: bool) -> None:
    """A coil of unknown ohms may have 10 kΩ, a resistor any; what makes one net is a conductor."""
    if part.fitted is False:
        assert list(low_pairs(replace(LOOM, components=(part,)))) in ([], [ends_of("A:2 A:3")])
        return
    found = [frozenset(pair) for pair in low_pairs(replace(LOOM, components=(part,)))]
    assert found == ([frozenset(ends_of("A:2 A:3"))] if low else [])


@pytest.mark.parametrize(
    ("senses", "readings", "alone"), [(3, 0, True), (1, 0, True), (0, 0, False), (3, 1, False)]
)
def test_a_bench_that_only_senses(senses: int, readings: int, alone: bool) -> None:
    measured = Measured(EXPECTED, EXPECTED, True, sense_vectors=senses, resistance_readings=readings)
    assert senses_alone(measured) is alone


def apart(group: str, *parts: Component, loom: Loom = LOOM, senses: int = 5) -> list[set[frozenset[End]]]:
    """Return the ways to part one group, what was found alone left out."""
    groups = nets(*group.split(", "))
    rest = tuple(net for net in EXPECTED if not any(net & one for one in groups))
    loom = replace(loom, components=parts)
    measured = Measured(EXPECTED, (*groups, *rest), complete=True, sense_vectors=senses)
    ways = ways_apart(loom, wiring_of(loom, EXPECTED, TABLE), measured)
    return [{piece for piece in way if any(piece & one for one in groups)} for way in ways]


def parted(*texts: str) -> list[set[frozenset[End]]]:
    return [set(nets(*text.split(", "))) for text in texts]


def test_what_hangs_on_one_of_two_nets_that_a_coil_couples() -> None:
    """A:6 sits on one net or on the other: both read low with the coil between."""
    found = apart("A:2 B:2 A:3 B:3 A:6", COIL)
    assert len(found) == 2
    for way in parted("A:2 B:2 A:6, A:3 B:3", "A:2 B:2, A:3 B:3 A:6"):
        assert way in found
    assert apart("A:2 B:2 A:3 B:3 A:6", COIL, senses=0) == []
    assert apart("A:2 B:2 A:3 B:3", COIL) == [], "nothing else hangs on them"
    assert apart("A:2 B:2 A:3 B:3 A:6") == [], "no part couples them"
    assert apart("A:2 B:2 A:3 B:3, A:6", COIL) == []
    assert apart("A:2 B:2 A:5 C:2 A:6", COIL) == []


def test_two_strangers_have_four_ways() -> None:
    found = apart("A:2 B:2 A:3 B:3 A:6 C:3", COIL)
    expected = parted(
        "A:2 B:2 A:6 C:3, A:3 B:3",
        "A:2 B:2 A:6, A:3 B:3 C:3",
        "A:2 B:2 C:3, A:3 B:3 A:6",
        "A:2 B:2, A:3 B:3 A:6 C:3",
    )
    assert len(found) == 4
    assert all(way in found for way in expected)


def test_of_too_many_ways_none_is_tried() -> None:
    """A coil and n strangers: 2 to the n ways. 32 are tried, 64 are not."""
    for strangers, ways in ((5, MOST_WAYS), (6, 0)):
        names = " ".join(map(str, range(1, strangers + 3)))
        loom = Loom("many", connectors=(plug("A", names),))
        coil = replace(COIL, terminals=(("1", end_of("A:1")), ("2", end_of("A:2"))))
        loom = replace(loom, components=(coil,))
        expected = tuple(frozenset({end}) for end in loom.cavities)
        measured = Measured(expected, (frozenset(loom.cavities),), complete=True, sense_vectors=5)
        found = ways_apart(loom, wiring_of(loom, expected, TABLE), measured)
        assert len(found) == ways
        assert len(set(map(frozenset, found))) == len(found)


def test_what_a_coil_joins_is_what_sense_finds_joined() -> None:
    """The coil lies between A:2 and A:3. Sensed as one they fit; sensed apart they do not."""

    def senses(groups: str, labelled: Sequence[str]) -> int:
        named = nets(*groups.split(", "))
        rest = tuple(net for net in EXPECTED if not any(net & group for group in named))
        loom = replace(LOOM, components=(COIL,))
        measured = Measured(EXPECTED, (*named, *rest), complete=True, sense_vectors=5)
        wiring = wiring_of(loom, EXPECTED, TABLE)
        writer = Writer(loom, wiring, measured, None, TABLE)
        as_one = nets(*labelled)
        split = replace(
            measured, groups=(*as_one, *(n for n in measured.groups if not any(n & o for o in as_one)))
        )
        labels = labels_of(wiring, split)
        strain = PartStrain(writer, split, labels)
        found = strain.senses(Righted(tuple(labels)))
        assert strain(Righted(tuple(labels))) == found, "no part or path is amiss besides"
        return found

    assert senses("A:2 B:2 A:3 B:3", ("A:2 B:2", "A:3 B:3")) == 0
    assert senses("A:2 B:2, A:3 B:3", ("A:2 B:2", "A:3 B:3")) == 1
    assert senses("A:2 B:2 A:3 B:3", ("A:2 B:2 A:3 B:3",)) == 0, "both ends of the coil on one conductor"
    assert senses("A:2 B:2 A:3 B:3 A:6", ("A:2 B:2", "A:3 B:3", "A:6")) == 1, "A:6 was found joined"
    assert senses("A:2 B:2 A:3 B:3 A:6", ("A:2 B:2 A:6", "A:3 B:3")) == 0
    assert senses("A:2 B:2 A:3 B:3 A:6 C:3", ("A:2 B:2", "A:3 B:3", "A:6", "C:3")) == 2


def test_a_bench_that_reads_ohms_is_asked_nothing_of_the_kind() -> None:
    seen = At(COIL, resistance_readings=4, sense_vectors=5)
    assert seen.strain.senses(seen.crossed("A")) == 0
    sensed = At(COIL, sense_vectors=5)
    label = dict(zip(sensed.wiring.leaf_ends, sensed.labels, strict=True))
    assert sensed.strain.touches({label[end_of("A:2")]})
    assert sensed.strain.touches({label[end_of("B:2")]})
    assert not sensed.strain.touches({label[end_of("A:6")]})
    assert not seen.strain.touches(set(seen.labels))
