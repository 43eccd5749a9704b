"""Loose ends that no adapter fits, read with a probe in the middle of a proof."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.bench.adapter import Adapter, in_order
from loomproof.bench.journal import JournaledBench
from loomproof.bench.opening import SimulatedBench, open_bench
from loomproof.electrics.expectation import expect
from loomproof.errors import UnfitError
from loomproof.jobs.prove import prove
from loomproof.loom.model import Component, ComponentKind, End, Loom
from loomproof.loom.reading import load
from loomproof.measuring.events import Event, Prompt, finish
from loomproof.measuring.probe_ends import Touch, with_touches
from loomproof.planning.net_access import Scope, scope_of
from loomproof.planning.request import Request
from loomproof.results.measured import Measured
from tests.cleared import cleared
from tests.cli.running import loomproof
from tests.cli.test_prove import proved, results

EARTH = End("EARTH", "1")


@pytest.fixture
def table(fixtures: Path, tmp_path: Path) -> Path:
    """An adapter that does not reach the earth ring."""
    file = tmp_path / "adapter.csv"
    assert loomproof("adapter", "new", fixtures / "tail_lamp", "--to", file).returncode == 0
    lines = [line for line in file.read_text(encoding="utf-8").splitlines() if "EARTH" not in line]
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


@pytest.mark.parametrize(
    ("fault", "code", "cause", "cavities"),
    [
        ("", 0, "", set()),
        ("open%20W6", 1, "broken_wire", {"EARTH:1", "LAMP:6"}),
        ("short%20EARTH:1%20LAMP:3", 1, "touching", {"LAMP:3", "LAMP:6"}),
    ],
)
def test_a_loose_end_counts_as_tested(
    fixtures: Path, tmp_path: Path, table: Path, fault: str, code: int, cause: str, cavities: set[str]
) -> None:
    loom, out = fixtures / "tail_lamp", tmp_path / "out"
    bench = f"sim:?fault={fault}" if fault else "sim:"
    done = proved(loom, bench, out, "--adapter", table, "--probe")
    assert done.returncode == code, done.stderr
    assert "simulator itself holds the probe" in done.stderr
    document = results(out)
    assert End("EARTH", "1") in document.coverage.tested
    assert not document.coverage.untested
    (claim,) = [each for each in document.claims if each.subject == "EARTH:1"]
    assert "with the probe" in claim.statement
    assert "ohms are not measured" in claim.statement
    assert [finding.cause for finding in document.findings] == ([cause] if cause else [])
    assert {str(place) for finding in document.findings for place in finding.cavities} == cavities
    (journal,) = out.glob("*.journal.jsonl")
    replayed = loomproof("replay", journal, loom)
    (kept,) = out.glob("*.results.json")
    assert replayed.returncode == code, replayed.stderr
    assert replayed.stdout == kept.read_text(encoding="utf-8")


def test_without_the_probe_it_blocks_a_pass(fixtures: Path, tmp_path: Path, table: Path) -> None:
    done = proved(fixtures / "tail_lamp", "sim:", tmp_path / "out", "--adapter", table)
    assert done.returncode == 3
    assert results(tmp_path / "out").coverage.untested == (End("EARTH", "1"),)


def test_what_nobody_touches_stays_untested(fixtures: Path, tmp_path: Path, table: Path) -> None:
    """Over TCP there is no hand but a person's, and here no terminal to ask one."""
    from loomproof.bench.simulation import Simulation

    simulation = Simulation(fixtures / "tail_lamp", tcp=True)
    try:
        address = str(simulation.address)
        done = proved(fixtures / "tail_lamp", address, tmp_path / "out", "--adapter", table, "--probe")
    finally:
        simulation.end()
    assert done.returncode == 3, done.stderr
    assert results(tmp_path / "out").coverage.untested == (End("EARTH", "1"),)


@pytest.mark.parametrize(
    ("works", "code"),
    [
        ((True, True, True), None),
        # Not seen at first: it is asked again, and the proof is not lost.
        ((False, True, True, True), None),
        ((True, True, False, False, True), None),
        ((False, False, False), "BODY:1, and its point 1 did not read low"),
        ((True, True, False, False, False), "BODY:1, and its point 1 did not read low"),
    ],
)
def test_a_probe_that_is_not_seen_tests_nothing(
    fixtures: Path, tmp_path: Path, works: tuple[bool, ...], code: str | None
) -> None:
    """The empty cavity BODY:6 is joined to nothing, as a probe that hangs in the air is."""
    loom = load(fixtures / "tail_lamp").loom
    whole = in_order(loom.cavities)
    alone = End("BODY", "6")
    adapter = Adapter("short", tuple(lead for lead in whole.entries if lead.end != alone))
    request = Request(loom, adapter, "run", "2031-05-04T00:00:00Z", probed=(alone,))
    held: list[str] = []
    with open_bench("sim:", loom_path=fixtures / "tail_lamp") as raw:
        assert isinstance(raw, SimulatedBench)

        def hold(end: str | None) -> bool:
            raw.simulation.tell("lift")
            if end is None:
                return True
            held.append(end)
            return not works[len(held) - 1] or raw.simulation.tell(f"touch {end}").startswith("ok")

        with JournaledBench(raw, tmp_path / "j.jsonl", {}, touch=hold) as bench:
            steps = prove(request, bench, cleared(loom, bench, adapter))
            if code is not None:
                with pytest.raises(UnfitError, match=code):
                    list(steps)
                return
            document = finish(steps).document
    assert len(held) == len(works)
    assert list(dict.fromkeys(held)) == ["BODY:1", "BODY:6"]
    assert document.verdict == "pass"
    assert any("BODY:6: the probe saw nothing" in text for text in document.not_tested)


@pytest.mark.parametrize(("forgotten", "told"), [(1, 1), (2, 2), (3, 2)])
def test_a_forgotten_probe_is_asked_again(fixtures: Path, tmp_path: Path, forgotten: int, told: int) -> None:
    """Left on the loom so often though "off" was said; the proof ends only where it stays there."""
    loom = load(fixtures / "tail_lamp").loom
    adapter = Adapter("short", tuple(lead for lead in in_order(loom.cavities).entries if lead.end != EARTH))
    request = Request(loom, adapter, "run", "2031-05-04T00:00:00Z", probed=(EARTH,))
    left: list[str] = []
    with open_bench("sim:", loom_path=fixtures / "tail_lamp") as raw:
        assert isinstance(raw, SimulatedBench)

        def hold(end: str | None) -> bool:
            if end is None and len(left) < forgotten:
                left.append("on the loom still")
                return True
            raw.simulation.tell("lift")
            return end is None or raw.simulation.tell(f"touch {end}").startswith("ok")

        seen: list[str] = []

        def watched() -> Iterator[Event]:
            verdicts.append((yield from steps).document.verdict)

        verdicts: list[str] = []
        with JournaledBench(raw, tmp_path / "j.jsonl", {}, touch=hold) as bench:
            steps = prove(request, bench, cleared(loom, bench, adapter))
            ends: AbstractContextManager[object] = nullcontext()
            if forgotten == 3:
                ends = pytest.raises(UnfitError, match="after the probe was taken off")
            with ends:
                for event in watched():
                    seen += [event.text] if isinstance(event, Prompt) else []
    assert verdicts == (["pass"] if forgotten < 3 else [])
    told_off = [text for text in seen if "still touches the loom" in text]
    assert len(told_off) == told
    assert all("LAMP:6" in text for text in told_off)


def test_not_over_several_hook_ups(fixtures: Path, tmp_path: Path) -> None:
    done = proved(fixtures / "tail_lamp", "sim:?points=8", tmp_path, "--probe", "--hook-ups")
    assert done.returncode == 2


def tail(fixtures: Path) -> tuple[Loom, Scope, Measured]:
    """The tail-lamp loom as it should be, found so on all points but the earth ring's."""
    loom = load(fixtures / "tail_lamp").loom
    part = Component("R1", ComponentKind.RESISTOR, (("1", End("LAMP", "5")), ("2", End("LAMP", "6"))), 470.0)
    loom = replace(loom, components=(part,))
    whole = in_order(loom.cavities)
    adapter = Adapter("short", tuple(lead for lead in whole.entries if lead.end != EARTH))
    scope = scope_of(expect(loom), adapter.point_of, 250e3)
    nets = tuple(scope.ends(group.points) for group in scope.groups)
    return loom, scope, Measured(nets, nets, complete=True, untested=(EARTH,))


def low(scope: Scope, *ends: str) -> int:
    return sum(scope.bit(End(*end.split(":"))) for end in ends)


@pytest.mark.parametrize(
    ("ends", "home", "steady"),
    [
        (("LAMP:6",), {"LAMP:6", "EARTH:1"}, True),
        # A resistor lets the other net be pulled down as well.
        (("LAMP:6", "LAMP:5", "BODY:5"), {"LAMP:6", "EARTH:1"}, True),
        # Two nets that nothing joins, and that the proof saw apart: that fits nothing.
        (("LAMP:6", "LAMP:1", "BODY:1"), {"LAMP:6", "EARTH:1"}, False),
        (("LAMP:1", "BODY:1"), {"LAMP:1", "BODY:1", "EARTH:1"}, True),
        # Half of a conductor that the proof saw whole.
        (("BODY:1",), {"LAMP:1", "BODY:1", "EARTH:1"}, False),
        ((), {"EARTH:1"}, True),
    ],
)
def test_which_conductor_a_touch_means(
    fixtures: Path, ends: tuple[str, ...], home: set[str], steady: bool
) -> None:
    loom, scope, measured = tail(fixtures)
    found, touched = with_touches(measured, expect(loom), scope, [Touch(EARTH, low(scope, *ends))])
    assert touched == (EARTH,)
    assert found.untested == ()
    (group,) = [group for group in found.groups if EARTH in group]
    assert set(map(str, group)) == home
    (net,) = [net for net in found.expected if EARTH in net]
    assert set(map(str, net)) == {"LAMP:6", "EARTH:1"}
    assert (EARTH not in found.unstable) is steady
    assert set().union(*found.groups) == set().union(*found.expected)


def test_a_net_without_any_point_is_not_told_by_touch(fixtures: Path) -> None:
    loom = load(fixtures / "tail_lamp").loom
    gone = {EARTH, End("LAMP", "6")}
    whole = in_order(loom.cavities)
    adapter = Adapter("short", tuple(lead for lead in whole.entries if lead.end not in gone))
    scope = scope_of(expect(loom), adapter.point_of, 250e3)
    nets = tuple(scope.ends(group.points) for group in scope.groups)
    measured = Measured(nets, nets, complete=True, untested=tuple(sorted(gone)))
    found, touched = with_touches(measured, expect(loom), scope, [Touch(EARTH, 0)])
    assert touched == ()
    assert EARTH in found.untested
    assert any("EARTH:1" in note for note in found.notes)
