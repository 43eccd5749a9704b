"""The job of naming: what it refuses before anything is asked, and what is kept whatever ends it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from loomproof.bench.adapter import write_adapter
from loomproof.bench.simulation import Simulation
from loomproof.errors import AdapterError, BenchError, BrokenOffError, SafetyError, UsageError
from loomproof.jobs.events import Shown
from loomproof.jobs.job import Job
from loomproof.jobs.naming import Key, Letters, NamedLoom
from loomproof.loom.model import End, Hazard, Loom
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from tests.naming.engine import engine, leads, nameless
from tests.simulating import started

REAL = engine()
BARE, TRUTH = nameless(REAL)
BACK = {real: end for end, real in TRUTH.items()}


@dataclass
class Person:
    """Does one thing at a time, each when the screen stands as it wants it; a job asks for keys meanwhile."""

    acts: Iterator[tuple[Callable[[Shown], bool], Callable[[], Sequence[Key | Letters]]]]
    stands: Shown | None = None
    looks: int = 0

    def __post_init__(self) -> None:
        self.next = next(self.acts, None)

    def pressed(self, wait_s: float) -> Sequence[Key | Letters]:
        self.looks += 1
        assert self.looks < 2000, f"nothing goes on: {self.stands}"
        if self.next is None or self.stands is None or not self.next[0](self.stands):
            return []
        act, self.next = self.next[1], next(self.acts, None)
        return act()


@pytest.fixture
def hand(tmp_path: Path) -> Iterator[Simulation]:
    write_folder(REAL, tmp_path / "engine")
    write_folder(BARE, tmp_path / "found")
    write_adapter(leads(REAL, TRUTH), tmp_path / "clips.csv")
    simulation = started(tmp_path / "engine", tcp=True)
    try:
        yield simulation
    finally:
        simulation.end()


def named(
    folder: Path, address: str, *acts: tuple[Callable[[Shown], bool], Callable[[], object]]
) -> NamedLoom:
    """Run the job with a person who does these things, one after another."""

    def keys(act: Callable[[], object]) -> Callable[[], Sequence[Key | Letters]]:
        def pressed() -> Sequence[Key | Letters]:
            done = act()
            return done if isinstance(done, list) else []

        return pressed

    person = Person(iter([(when, keys(act)) for when, act in acts]))
    loom = load(folder).loom

    def show(event: object) -> None:
        if isinstance(event, Shown):
            person.stands = event

    return Job(loom, address, str(folder.with_name("clips.csv"))).name(folder, person).run(show)


def always(_: Shown) -> bool:
    return True


def test_a_touch_and_a_key_name_a_plug(hand: Simulation, tmp_path: Path) -> None:
    done = named(
        tmp_path / "found",
        str(hand.address),
        (always, lambda: hand.tell("touch CTS:1")),
        (lambda s: s.touches == 1, lambda: hand.tell("lift")),
        (lambda s: any(line.ohms for line in s.ends), lambda: [Letters("1")]),
        (lambda s: "CTS:1" in s.said, lambda: [Key.STOP]),
    )
    assert (done.touches, done.answers, done.taken) == (1, 1, 1)
    assert done.named.names[BACK[End("CTS", "1")]] == End("CTS", "1")
    assert "1 touch and 1 answer today, 1 of them suggestions that were taken" in done.summary
    assert load(tmp_path / "found").loom.digest == done.named.loom.digest


def test_a_probe_that_goes_straight_to_another_end_is_two_touches(hand: Simulation, tmp_path: Path) -> None:
    done = named(
        tmp_path / "found",
        str(hand.address),
        (always, lambda: hand.tell("touch CTS:1")),
        (lambda s: s.touches == 1, lambda: hand.tell("touch TPS:3")),
        (lambda s: s.touches == 2, lambda: [Key.STOP]),
    )
    assert done.touches == 2


def test_an_order_to_stop_keeps_what_was_answered(hand: Simulation, tmp_path: Path) -> None:
    def stop() -> object:
        raise KeyboardInterrupt

    with pytest.raises(BrokenOffError, match="the naming was stopped") as stopped:
        named(
            tmp_path / "found",
            str(hand.address),
            (always, lambda: [Key.NEXT, *map(Letters, "PLUG"), Key.ENTER]),
            (lambda s: "PLUG" in s.said, stop),
        )
    assert "confirmed that every point is released" in stopped.value.cure
    assert "PLUG" in load(tmp_path / "found").loom.by_name


def test_a_bench_that_goes_away_keeps_what_was_answered(hand: Simulation, tmp_path: Path) -> None:
    with pytest.raises(BenchError) as gone:
        named(
            tmp_path / "found",
            str(hand.address),
            (always, lambda: [Key.NEXT, *map(Letters, "PLUG"), Key.ENTER]),
            (lambda s: "PLUG" in s.said, hand.end),
        )
    assert "naming goes on from there" in gone.value.cure
    assert "switch it off" in gone.value.cure
    assert "PLUG" in load(tmp_path / "found").loom.by_name


def test_a_hazard_is_refused_before_anything_is_asked(hand: Simulation, tmp_path: Path) -> None:
    risky = tuple(
        replace(each, hazard=Hazard.PYROTECHNIC) if each.name == "P3" else each for each in BARE.connectors
    )
    write_folder(replace(BARE, connectors=risky), tmp_path / "found", over=True)
    with pytest.raises(SafetyError, match="P3") as refused:
        named(tmp_path / "found", str(hand.address), (always, lambda: [Key.STOP]))
    assert "kept" not in refused.value.cure
    assert not (tmp_path / "found" / "naming.jsonl").exists()


def test_without_its_table_or_with_another_it_is_not_begun(hand: Simulation, tmp_path: Path) -> None:
    person = Person(iter(()))
    folder, loom = tmp_path / "found", load(tmp_path / "found").loom
    with pytest.raises(AdapterError, match="keeps no adapter table yet"):
        Job(loom, str(hand.address)).name(folder, person).run()
    other = leads(
        REAL, {end._replace(connector="XX"): real for end, real in TRUTH.items() if real.cavity == "2"}
    )
    with pytest.raises(AdapterError, match="XX:2, "):
        Job(loom, str(hand.address), other).name(folder, person).run()
    with pytest.raises(UsageError, match="nobody can touch"):
        Job(loom, "sim:", other).name(folder, person).run()


def test_a_bench_without_ohms_names_all_the_same(tmp_path: Path) -> None:
    write_folder(REAL, tmp_path / "engine")
    write_folder(BARE, tmp_path / "found")
    write_adapter(leads(REAL, TRUTH), tmp_path / "clips.csv")
    simulation = started(tmp_path / "engine", ["--no-ohms"], tcp=True)
    try:
        done = named(
            tmp_path / "found",
            str(simulation.address),
            (always, lambda: [Key.NEXT, *map(Letters, "PLUG"), Key.ENTER]),
            (lambda s: "PLUG" in s.said, lambda: [Key.STOP]),
        )
    finally:
        simulation.end()
    assert done.answers == 1


def test_a_car_offers_its_names(hand: Simulation, tmp_path: Path) -> None:
    seen: list[str] = []
    person = Person(iter([(always, lambda: [Key.NEXT, Letters("LAM")]), (always, lambda: [Key.STOP])]))
    car: Loom = REAL

    def show(event: object) -> None:
        if isinstance(event, Shown):
            person.stands = event
            seen.extend(word for word, _ in event.candidates)

    job = Job(BARE, str(hand.address), leads(REAL, TRUTH))
    job.name(tmp_path / "found", person, car).run(show)
    assert "LAMBDA" in seen
