"""A loom named at a real terminal, on a scanner in a process of its own."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.bench.adapter import read_adapter, write_adapter
from loomproof.bench.simulation import Simulation
from loomproof.loom.model import End, Hazard, Loom
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from loomproof.naming.rules import usual
from tests.cli.running import loomproof
from tests.naming.engine import NETS, engine, leads, nameless, purpose_of
from tests.naming.test_answers import joined
from tests.simulating import started

if os.name == "nt":
    pytest.skip("there are no pseudo-terminals on Windows", allow_module_level=True)

from tests.dialogue import Dialogue

REAL = engine()
BARE, TRUTH = nameless(REAL)
BACK = {real: end for end, real in TRUTH.items()}
NO_HAZARD = [word for c in BARE.connectors if c.cavities for word in ("--hazard", f"{c.name}=none")]


@pytest.fixture(autouse=True)
def _nothing_left_running() -> Iterator[None]:
    yield
    Dialogue.stop_all()


@pytest.fixture(params=[started])
def hand(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Simulation]:
    """The scanner with the real loom on it, and the hand that touches it; once in a process of its own."""
    write_folder(REAL, tmp_path / "engine")
    write_adapter(leads(REAL, TRUTH), tmp_path / "clips.csv")
    write_folder(BARE, tmp_path / "found")
    simulation: Simulation = request.param(tmp_path / "engine", tcp=True)
    try:
        yield simulation
    finally:
        simulation.end()


class Naming(Dialogue):
    """The command at a terminal, and a person who knows the loom and touches it."""

    def __init__(self, hand: Simulation, folder: Path, *more: str, columns: int = 100) -> None:
        words = ("name", "found", "--bench", str(hand.address), "--adapter", "clips.csv", *more)
        super().__init__(*words, cwd=folder, columns=columns)
        self.hand = hand
        self.touches = 0
        self.sees("Touch any end with the probe")

    def touch(self, real: str) -> str:
        """Touch an end, and return what stands on the screen then, up to the question."""
        assert self.hand.tell(f"touch {real}").startswith("ok")
        self.touches += 1
        stands = self.sees(rf"(?s)\b{self.touches} touch(?:es)?, .*?What is [^\n]*\?")
        self.hand.tell("lift")
        self.sees("Touched: ")
        return stands

    def meant(self, stands: str, end: End) -> str:
        """Go to the end of the net that the hand is at, which no probe tells; return what stands."""
        while (chosen := re.findall(r"What is ([^\n]*)\?", stands)[-1]) != str(end):
            self.presses("\x1b[B")
            stands = self.sees(rf"(?s)Touched: .*?What is (?!{re.escape(chosen)}\?)[^\n]*\?")
        return stands.rpartition("Touched: ")[2]


def offers(stands: str) -> dict[str, str]:
    """Return what is suggested, by its words, with the key for it."""
    return {says: key for key, says in re.findall(r"\[(\d)\] ([^\n]*)\?", stands)}


def test_sixty_ends_are_named_in_as_many_touches_and_one_key_for_each_right_suggestion(
    hand: Simulation, tmp_path: Path
) -> None:
    """From the trace to a proof by the names that were given. The right word is the loom's own name."""
    bench, table = ("--bench", str(hand.address)), ("--adapter", "clips.csv")
    traced = loomproof("trace", *table, *bench, "--to", "found", "--over", *NO_HAZARD, cwd=tmp_path)
    assert traced.returncode == 0, traced.stderr
    at = Naming(hand, tmp_path)
    now = dict(zip(TRUTH, TRUTH, strict=True))
    purposes: set[frozenset[str]] = set()
    taken = 0
    net_of = {text: frozenset(ends) for ends in NETS.values() for text in ends}

    def said(real: End, end: End) -> bool:
        return now[end] == real and (str(real) not in net_of or net_of[str(real)] in purposes)

    for end, real in sorted(TRUTH.items(), key=lambda pair: pair[1]):
        if said(real, end):
            continue
        stands = at.meant(at.touch(str(real)), now[end])
        if now[end] != real:
            right = [key for says, key in offers(stands).items() if re.match(rf"{real.connector}(:|$)", says)]
            at.presses(right[0] if right else f"{real.connector}\r")
            stands = at.sees(rf"(?s){end} is {real}\..*")
            taken += bool(right)
            for other, name in TRUTH.items():
                if other.connector == end.connector:
                    now[other] = name
            if right and f"for {purpose_of(real)}." in stands:
                purposes.add(net_of[str(real)])
        if not said(real, end):
            stands = at.shown.rpartition("Touched: ")[2]
            right = [key for says, key in offers(stands).items() if says == usual(purpose_of(real)).purpose]
            at.presses(right[0] if right else f". {purpose_of(real)}\r")
            at.sees(rf"{real}: kept\. Its net is for {purpose_of(real)}\.")
            taken += bool(right)
            purposes.add(net_of[str(real)])
    at.presses("\x04")
    assert at.ends() == 0
    assert "60 of 60 ends named" in at.shown
    assert at.touches <= 60
    assert taken >= 20, "most of it is suggested"
    assert f"{taken} of them suggestions that were taken" in " ".join(at.shown.split())
    named = load(tmp_path / "found").loom
    assert set(named.cavities) == set(REAL.cavities)
    assert joined(named) == joined(REAL)
    for end in named.cavities:
        circuits = {wire.circuit for wire in named.wires_at.get(end, ())}
        assert circuits == ({purpose_of(end)} if end != End("ECU", "24") else set())
    done = loomproof("prove", "found", *bench, "--adapter", "found/adapter.csv", "--made-safe", cwd=tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    print(f"{at.touches} touches, {taken} suggestions taken by one key each")


def test_stopped_in_the_middle_nothing_is_lost_and_tomorrow_it_goes_on(
    hand: Simulation, tmp_path: Path
) -> None:
    at = Naming(hand, tmp_path)
    at.touch("CTS:1")
    at.presses("1")
    at.sees(r"is CTS:1\.")
    at.presses("half a li")
    at.sees("> half a li")
    at.interrupts()
    assert at.ends() == 3
    told = " ".join(at.shown.split())
    assert "the naming was stopped" in told
    assert "confirmed that every point is released" in told
    assert "Every answer is kept in found" in told
    assert "Typed and not entered, so not kept: half a li" in told
    assert "CTS" in load(tmp_path / "found").loom.by_name
    # The table of the trace is taken as well as that of today.
    at = Naming(hand, tmp_path)
    at.sees("2 of 60 ends named")
    at.presses("\x1a")
    at.sees(r"Taken back: P\d+:1 has no name again")
    at.presses("\x04")
    assert at.ends() == 0
    assert load(tmp_path / "found").loom.digest == load(tmp_path / "found" / "traced").loom.digest


def test_a_terminal_that_goes_away_loses_nothing(hand: Simulation, tmp_path: Path) -> None:
    at = Naming(hand, tmp_path)
    at.touch("CTS:1")
    at.presses("1")
    at.sees(r"is CTS:1\.")
    at.hangs_up()
    assert at.ended() == 3
    assert "CTS" in load(tmp_path / "found").loom.by_name
    assert hand.tell("faults") == "ok: no fault", "the scanner answers on, nothing of it is held"


def test_a_bench_that_goes_away_in_a_touch_is_told_and_nothing_is_lost(
    hand: Simulation, tmp_path: Path
) -> None:
    at = Naming(hand, tmp_path)
    at.touch("CTS:1")
    at.presses("1")
    at.sees(r"is CTS:1\.")
    hand.tell("touch INJ1:2")
    hand.end()
    assert at.ends() == 3
    told = " ".join(at.shown.split())
    assert re.search(r"loomproof: (link|bench): ", told), told
    assert "Every answer is kept in found, and naming goes on from there." in told
    assert "switch it off before you touch the loom" in told
    assert "CTS" in load(tmp_path / "found").loom.by_name


def test_wrong_lines_and_keys_out_of_place_are_told_at_the_terminal(hand: Simulation, tmp_path: Path) -> None:
    at = Naming(hand, tmp_path, columns=60)
    at.presses("INJ1\r")
    at.sees("! Nothing is touched yet")
    at.presses("\x15")
    at.touch("INJ1:2")
    at.presses("9")
    at.sees("! There is no suggestion 9")
    at.presses("\x02")
    at.sees("! That key does nothing here")
    at.presses(f"{'x' * 200}\r")
    at.sees(r"! This plug, x{20}…, has\n? *200 letters")
    at.presses("\x15quit\r")
    at.sees("! Ctrl-D stops till later")
    at.presses("\x15INJ1:2 rdwh inj\t")
    at.sees(r"INJ1:2 rdwh injector")
    at.presses("\r")
    at.sees(r"is INJ1:2\.")
    at.touch("INJ2:2")
    at.presses("INJ1:2\r")
    at.sees("! INJ1:2 has its name already")
    at.presses("\x04")
    assert at.ends() == 0
    (wire,) = load(tmp_path / "found").loom.wires_at[End("INJ1", "2")]
    assert (wire.colour, wire.circuit) == ("RD/WH", "injector")


def test_without_a_terminal_it_is_not_begun(tmp_path: Path) -> None:
    write_folder(BARE, tmp_path / "found")
    done = loomproof("name", "found", "--bench", "tcp:127.0.0.1:1", cwd=tmp_path)
    assert done.returncode == 2
    assert "at a terminal, key by key" in done.stderr


def test_our_own_simulator_has_nobody_to_touch_it(tmp_path: Path) -> None:
    write_folder(BARE, tmp_path / "found")
    at = Dialogue("name", "found", "--bench", "sim:", cwd=tmp_path, columns=100)
    assert at.ends() == 2
    assert "loomproof simulate" in at.shown


def test_a_hazard_keeps_the_loom_off_the_bench(hand: Simulation, tmp_path: Path) -> None:
    risky = Loom(
        BARE.name,
        connectors=tuple(
            replace(each, hazard=Hazard.PYROTECHNIC) if each.name == "P3" else each
            for each in BARE.connectors
        ),
        wires=BARE.wires,
    )
    write_folder(risky, tmp_path / "found", over=True)
    at = Dialogue(
        "name", "found", "--bench", str(hand.address), "--adapter", "clips.csv", cwd=tmp_path, columns=100
    )
    assert at.ends() == 3
    assert "safety" in at.shown
    assert "P3" in at.shown
    assert not (tmp_path / "found" / "naming.jsonl").exists()
    assert read_adapter(tmp_path / "clips.csv").point_of == leads(REAL, TRUTH).point_of
