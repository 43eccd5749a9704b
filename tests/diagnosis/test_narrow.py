"""Taking answers: what one more look leaves, held against every fault of a small loom, one by one."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace

import networkx as nx
import pytest

from loomproof.diagnosis import Effect, Observation, explain, named, narrow, read_observation, weight_table
from loomproof.diagnosis.adapter_first import adapter_first
from loomproof.diagnosis.causes import CAUSES, Cause, Look
from loomproof.diagnosis.narrow import ELSEWHERE, ways_of
from loomproof.diagnosis.seen import What
from loomproof.errors import UsageError
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire, end_of
from loomproof.results.findings import Alternative, Finding, Kind
from loomproof.results.measured import Measured
from loomproof.results.places import Place, WirePlace
from tests.diagnosis.test_wiring_faults import found

# What an answer leaves, on faults whose explanations are known by hand -----------------------------


def saw(findings: tuple[Finding, ...], *texts: str) -> tuple[tuple[Finding, ...], list[Effect]]:
    known = named(findings)
    after, taken = narrow(findings, [read_observation(text, known) for text in texts])
    return after, [each.effect for each in taken]


CROSSED = ("A:2 B:3", "A:3 B:2")


def test_looking_into_one_plug_leaves_the_other_the_joint_and_the_adapter() -> None:
    (finding,) = found(*CROSSED)
    plug = finding.cavities[0].connector
    (after,), effects = saw((finding,), f"{plug} sound")
    assert effects == [Effect.NARROWS]
    assert {end.connector for end in after.cavities} == {"A", "B"} - {plug}
    assert after.kind is Kind.MISWIRE
    assert after.repair
    assert {other.cause for other in after.alternatives} == {"crossed_joint", "adapter"}
    assert f"{plug} was seen to be sound" in after.evidence[-1].text


def test_a_sound_wire_does_not_clear_crossed_contacts_nor_the_adapter() -> None:
    (after,), _ = saw(found(*CROSSED), "W4 sound")
    causes = {after.cause, *(other.cause for other in after.alternatives)}
    assert {"crossed", "adapter"} <= causes
    assert "crossed_joint" not in causes


def test_sound_plugs_do_not_clear_the_adapter_and_the_proposed_look_can_be_answered() -> None:
    (after,), _ = saw(found(*CROSSED), "A sound", "B sound")
    assert {after.cause, *(other.cause for other in after.alternatives)} == {"crossed_joint", "adapter"}
    (bench,), _ = saw(found(*CROSSED), "adapter bad")
    assert bench.cause == "adapter"
    assert bench.places[0].startswith("the adapter's lead for ")
    (loom,), _ = saw(found(*CROSSED), "adapter sound")
    assert "adapter" not in {loom.cause, *(other.cause for other in loom.alternatives)}


def test_a_sound_wire_leaves_the_contact_at_its_end_before_the_adapter() -> None:
    (after,), _ = saw(found("A:1 B:1", "C:1"), "W3 sound")
    assert after.cause == "bad_contact"
    assert len(after.repair) == 3
    assert after.repair[2].startswith("Prove the whole loom again")
    assert after.cavities == (end_of("C:1"),)
    assert [other.cause for other in after.alternatives] == ["adapter_lead"]
    (bench,), _ = saw(found("A:1 B:1", "C:1"), "W3 sound", "C:1 sound")
    assert bench.cause == "adapter_lead"


def test_the_adapters_lead_is_tried_first_until_it_was_seen_to_be_sound() -> None:
    """What takes a touch comes before what takes a knife (common practice)."""
    led = adapter_first(found("A:2", "B:2"))
    first = (
        "Before you open or cut anything: take A and B off the adapter and touch the adapter's lead for A:2"
    )
    assert led[0].repair[0].startswith(first)
    (after,), _ = saw(led, "W4 sound")
    assert after.repair[0].startswith(first)
    (cleared,), _ = saw(led, "adapter sound")
    assert cleared.repair == found("A:2", "B:2")[0].repair
    assert adapter_first(found(*CROSSED)) == found(*CROSSED), "a bench that crosses leads is no open lead"


def test_either_end_of_a_sound_wire_is_told_as_either() -> None:
    (after,), _ = saw(found("A:2", "B:2"), "W4 sound")
    assert after.title == "A:2 or B:2 open: what holds the wire there, not the wire"


def test_a_bad_thing_clears_the_rest() -> None:
    (after,), _ = saw(found(*CROSSED), "B bad")
    assert {end.connector for end in after.cavities} == {"B"}
    assert {other.cause for other in after.alternatives} <= {"mirrored"}


def test_what_contradicts_everything_clears_nothing_and_is_said() -> None:
    before = found("A:1 B:1", "C:1")
    after, effects = saw(before, "adapter sound", "W3 sound", "C:1 sound")
    assert effects == [Effect.NARROWS, Effect.NARROWS, Effect.CONTRADICTS]
    assert after[0].cause == "bad_contact"
    known = named(before)
    _, taken = narrow(
        before, [read_observation(text, known) for text in ("adapter sound", "W3 sound", "C:1 sound")]
    )
    assert "C:1 sound: contradicts finding 1" in str(taken[-1])


def test_what_changes_nothing_says_so_and_a_later_answer_stands() -> None:
    _, effects = saw(found(*CROSSED), "A:2 sound", "A:3 sound")
    assert effects == [Effect.NARROWS, Effect.NOTHING]
    (after,), effects = saw(found(*CROSSED), "A sound", "A bad")
    assert len(effects) == 1
    assert {end.connector for end in after.cavities} == {"A"}


def test_a_bad_plug_that_fits_two_findings_does_not_say_which() -> None:
    before = found("A:1 C:1", "B:1", "A:2", "B:2")
    assert [finding.wires for finding in before] == [("W2",), ("W4",)]
    after, effects = saw(before, "B bad")
    assert (after, effects) == (before, [Effect.WHICH])
    (_, settled), effects = saw(before, "B:2 bad")
    assert effects == [Effect.NARROWS]
    assert settled.cavities == (end_of("B:2"),)
    assert not settled.alternatives


def test_a_thing_that_no_finding_names_is_refused() -> None:
    known = named(found("A:1 B:1", "C:1"))
    with pytest.raises(UsageError, match="W99"):
        read_observation("W99 sound", known)
    with pytest.raises(UsageError, match="says nothing"):
        read_observation("W3 perhaps", known)


def test_every_observation_is_read_back_as_it_is_written() -> None:
    blank = tuple(end_of(text) for text in ('"REAR LAMP":1', '"REAR LAMP":"L 2"', '"a:b":"c""d"'))
    finding = Finding(
        Kind.OPEN,
        found("A:5", "C:2")[0].severity,
        "",
        blank,
        wires=("W 1", "adapter", "sound"),
        cause="broken_wire",
        alternatives=(Alternative("", "adapter_lead", blank), Alternative("", "crossed", blank)),
    )
    known = named([finding])
    for thing in sorted(known, key=str):
        for sound in (True, False):
            seen = Observation(thing, sound)
            if str(thing) == "adapter" and thing.name:
                continue  # a wire of that name gives way to the bench's adapter
            assert read_observation(str(seen), known) == seen
    assert str(read_observation("REAR LAMP bad", known).thing) == '"REAR LAMP"'
    assert read_observation("REAR LAMP:1 bad", known).thing.end == blank[0]


def test_a_lead_of_the_adapter_is_no_cavity_and_cavities_behind_a_wire_are_spoken_of() -> None:
    ends = tuple(end_of(text) for text in ("A:1", "A:2", "B:1"))
    lead = Finding(Kind.OPEN, found("A:5", "C:2")[0].severity, "", ends, cause="adapter_lead")
    assert not [thing for thing in named([lead]) if thing.what in (What.CAVITY, What.CONNECTOR)]
    wire = Finding(Kind.OPEN, lead.severity, "", ends, wires=("W9",), cause="broken_wire")
    assert {thing.end for thing in named([wire]) if thing.what is What.CAVITY} == set(ends)


def test_every_weight_has_a_reason_and_every_cause_a_kind() -> None:
    assert all(row.reason and row.cost >= 0 for row in weight_table())
    assert {cause.kind for cause in CAUSES.values()} == set(Kind)


# Every fault of a small loom, and every true answer to what is asked --------------------------------


@dataclass(frozen=True)
class Physical:
    """One fault as a mechanic would find it: what is bad in it, and how its conductors hang together."""

    kind: str
    ends: tuple[End, ...] = ()
    wires: tuple[str, ...] = ()
    joins: tuple[End, ...] = ()
    """What a wire tapped in on the way joins: nothing that was there before is bad."""

    def is_bad(self, thing: str) -> bool:
        """Whether a thing, as a person names it, is bad; looking at it shows that."""
        if self.kind.startswith("lead"):
            plugs = {f"adapter {end.connector}" for end in self.ends}
            return thing in {"adapter", *plugs, *(f"adapter {end}" for end in self.ends)}
        plugs = {end.connector for end in self.ends}
        return thing in {*plugs, *map(str, self.ends), *self.wires}


def small_loom() -> Loom:
    plugs = [
        Connector("A", ConnectorKind.PLUG, (("1", "2", "3", "4"),)),
        Connector("B", ConnectorKind.PLUG, (("1", "2"),)),
        Connector("C", ConnectorKind.PLUG, (("1", "2"),)),
        Connector("S", ConnectorKind.SPLICE),
    ]
    runs = {"W1": "A:1 B:1", "W2": "A:2 B:2", "W3": "A:3 S", "W4": "S C:1", "W5": "S C:2"}
    wires = [
        Wire(name, end_of(ends.split()[0]), end_of(ends.split()[1]), colour=colour)
        for (name, ends), colour in zip(runs.items(), ("BK", "BN", "RD", "OG", "YE"), strict=True)
    ]
    return Loom("small", connectors=tuple(plugs), wires=tuple(wires))


LOOM = small_loom()


def physical() -> Iterator[Physical]:
    """Yield every fault of the kinds that an answer can settle."""
    for wire in LOOM.wires:
        yield Physical("broken", wires=(wire.name,))
    for end in LOOM.cavities:
        yield Physical("contact", (end,))
        yield Physical("lead", (end,))
    for name in ("A", "B", "C"):
        for pair in itertools.combinations(LOOM.by_name[name].ends, 2):
            yield Physical("crossed", pair)
            yield Physical("lead crossed", pair)
            yield Physical("lead touching", pair)
            yield Physical("touching", pair)  # side by side, or wet right across
    for one, two in itertools.combinations(LOOM.wires, 2):
        if not set(one.ends) & set(two.ends):
            yield Physical("joint", wires=(one.name, two.name))
        yield Physical("chafed", wires=(one.name, two.name))
        yield Physical("added", joins=(one.a, two.a))
        yield Physical("touching", joins=(one.a, two.a))  # in a splice cover, or on what both lie on
    for pair in itertools.combinations(LOOM.cavities, 2):
        yield Physical("added", pair)
        yield from (Physical("touching", (end,), joins=pair) for end in pair)  # a strand of one


def nets_of(fault: Physical) -> tuple[frozenset[End], ...]:
    """Return how the cavities read with a fault, from a graph of wires, contacts and leads."""
    graph: nx.Graph[tuple[str, End]] = nx.Graph()
    far = {wire.name: wire.b for wire in LOOM.wires}
    if fault.kind == "joint":
        one, two = fault.wires
        far[one], far[two] = far[two], far[one]
    for wire in LOOM.wires:
        if not (fault.kind == "broken" and wire.name in fault.wires):
            graph.add_edge(("in", wire.a), ("in", far[wire.name]))
    at = {end: end for end in LOOM.cavities}
    if fault.kind in ("crossed", "lead crossed"):
        a, b = fault.ends
        at[a], at[b] = b, a
    for end in LOOM.cavities:
        graph.add_node(("read", end))
        if not (fault.kind in ("contact", "lead") and end in fault.ends):
            graph.add_edge(("in", end), ("read", at[end]))
    if fault.kind in ("touching", "added", "lead touching"):
        graph.add_edge(*(("in", end) for end in fault.joins or fault.ends))
    if fault.kind == "chafed":
        pierced, bare = (LOOM.wire_by_name[name] for name in fault.wires)
        graph.add_edge(("in", pierced.a), ("in", bare.a))
    groups = (frozenset(e for k, e in part if k == "read") for part in nx.connected_components(graph))
    return tuple(sorted((group for group in groups if group), key=sorted))


SOUND = nets_of(Physical("none"))
SEEN: dict[tuple[frozenset[End], ...], list[Physical]] = {}
for _fault in physical():
    SEEN.setdefault(nets_of(_fault), []).append(_fault)
ASKED = [fault for nets, faults in SEEN.items() if nets != SOUND for fault in faults]

TOLD_AS = {
    "broken": {"broken_wire"},
    "contact": {"broken_wire", "bad_contact"},
    "lead": {"adapter_lead"},
    "crossed": {"crossed", "mirrored", "exchanged", "moved_to_spare"},
    "lead crossed": {"adapter"},
    "lead touching": {"adapter_short"},
    "touching": {"touching"},
    "joint": {"crossed_joint"},
    "chafed": {"touching"},
    "added": {"added_wire"},
}


def tells(one: Finding | Alternative, fault: Physical) -> bool:
    """Whether an explanation is this fault, or leaves room for it."""
    if one.cause not in TOLD_AS[fault.kind]:
        return False
    if fault.kind in ("added", "lead touching"):
        return True
    if fault.kind in ("chafed", "touching"):
        wires = set(fault.wires) or {w.name for end in fault.ends for w in LOOM.wires_at.get(end, ())}
        return wires <= set(one.wires)
    return set(fault.ends) <= set(one.cavities) and set(fault.wires) <= set(one.wires)


def each_of(finding: Finding) -> list[Finding | Alternative]:
    return [finding, *finding.alternatives]


@pytest.mark.parametrize("fault", ASKED, ids=lambda f: " ".join((f.kind, *map(str, f.ends), *f.wires)))
def test_no_true_answer_throws_out_the_true_cause(fault: Physical) -> None:
    nets = nets_of(fault)
    findings = explain(LOOM, Measured(SOUND, nets, complete=True))
    offered = [one for finding in findings for one in each_of(finding)]
    if len(findings) != 1 or not any(tells(one, fault) for one in offered):
        pytest.fail(f"{fault} is not offered: {[one.cause for one in offered]}")
    things = sorted(named(findings), key=str)
    true = [Observation(thing, not fault.is_bad(str(thing))) for thing in things]
    for count in (1, 2, len(true)):
        for answers in itertools.combinations(true, count):
            (after,), taken = narrow(findings, answers)
            left = each_of(after)
            assert any(tells(one, fault) for one in left), [str(answer) for answer in answers]
            assert all(each.effect is not Effect.CONTRADICTS for each in taken)
    # With every question answered only faults stay that all of the answers fit, by brute force.
    fitting = [
        other for other in SEEN[nets] if all(other.is_bad(str(seen.thing)) is not seen.sound for seen in true)
    ]
    strays = [one for one in left if not any(tells(one, other) for other in fitting)]
    assert not strays, ([(one.cause, one.cavities, one.wires) for one in strays], list(map(str, true)))


def test_every_cause_is_a_text_that_is_found_again() -> None:
    assert {cause.value for cause in Cause} == set(CAUSES)
    assert len({cause.value for cause in Cause}) == len(Cause)
    for cause in Cause:
        assert type(cause.value) is str
        assert CAUSES[cause.value] is cause


@pytest.mark.parametrize("cause", Cause)
def test_every_cause_has_a_way_to_be_true(cause: Cause) -> None:
    """Whatever is found can be looked for; what no answer speaks of is elsewhere."""
    one = Alternative(
        "x", cause=cause.value, cavities=(End("A", "1"), End("B", "1")), wires=("W1",), components=("R1",)
    )
    ways = ways_of(one)
    assert ways
    assert (ways == (ELSEWHERE,)) is (cause.look is Look.ELSEWHERE)


def test_a_text_that_is_no_cause_is_elsewhere() -> None:
    assert ways_of(Alternative("x", cause="of another version")) == (ELSEWHERE,)


def test_a_wire_seen_sound_against_its_measured_place_is_said_to_contradict_it() -> None:
    """A reading that lies in the wire is not forgotten for a look: both are told, the place first."""
    (finding,) = found("A:2", "B:2")
    spot = WirePlace("W4", end_of("B:2"), 0.31, 0.47, 1.0)
    place = Place("wire", "0.39 m from B:2 along W4", 0.95, (), (spot,))
    measured = replace(finding, place=place, places=(place.text, *finding.places))
    (after,), _ = saw((measured,), "W4 sound")
    assert after.title.endswith("; this contradicts the place measured in W4")
    assert after.places == (place.text, "A:2", "B:2")
    assert after.repair[0].startswith("0.39 m from B:2 along W4: look there before you renew contacts")
    assert (after.cause, after.place) == ("bad_contact", place)
    (near,), _ = saw((replace(measured, place=replace(place, answer="none")),), "W4 sound")
    assert "contradicts" not in near.title
