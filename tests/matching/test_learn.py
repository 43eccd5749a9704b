"""A description learned from known-good looms: what all agree on, the rest as questions."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.electrics.nets import nets_of
from loomproof.errors import InputError
from loomproof.loom.model import Component, ComponentKind, End, Loom
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from loomproof.matching.learning import learn
from tests.matching.test_match import loom

Captured = pytest.CaptureFixture[str]
SIZES = {"A": 4, "B": 4, "C": 2}
WIRED = ("A:1 B:1", "A:2 B:2 C:1", "A:3 B:3")


def pairs(of: Loom) -> set[frozenset[str]]:
    return {frozenset(map(str, pair)) for net in nets_of(of) for pair in combinations(net.cavities, 2)}


def reference(serial: str, *nets: str, ohm: float | None = 100.0, colour: str = "RD") -> Loom:
    part = Component(
        "R", ComponentKind.RESISTOR, (("1", End("A", "4")), ("2", End("B", "4"))), resistance_ohm=ohm
    )
    made = loom("ref", SIZES, *(nets or WIRED), colour=colour)
    return replace(made, serial=serial, components=(part,) if ohm is not None else ())


def test_looms_that_agree_give_what_they_are() -> None:
    learned = learn([reference("1"), reference("2"), reference("3")], "kind")
    assert learned.questions == ()
    assert pairs(learned.loom) == pairs(reference("1"))
    assert learned.loom.learned_from == ("ref 1", "ref 2", "ref 3")
    assert (learned.loom.name, learned.loom.serial) == ("kind", "")
    assert {wire.colour for wire in learned.loom.wires} == {"RD"}


def test_what_one_lacks_is_a_question_and_not_described() -> None:
    learned = learn([reference("1"), reference("2", *WIRED[:2]), reference("3")], "kind")
    (question,) = learned.questions
    assert question == "A:3 | B:3: one net in ref 1, ref 3, not in ref 2. Which is right?"
    assert frozenset(("A:3", "B:3")) not in pairs(learned.loom)
    assert {str(f.end) for f in learned.loom.cavity_facts} == {"A:3", "B:3"}


def test_a_net_in_pieces_keeps_the_piece_that_all_have() -> None:
    learned = learn([reference("1"), reference("2", "A:1 B:1", "A:2 C:1", "A:3 B:3")], "kind")
    assert learned.questions == ("A:2, C:1 | B:2: one net in ref 1, not in ref 2. Which is right?",)
    assert frozenset(("A:2", "C:1")) in pairs(learned.loom)


def test_ohms_are_the_mean_and_the_farthest_is_within() -> None:
    ohms = (98.0, 100.0, 105.0)
    learned = learn([reference(str(k), ohm=ohm) for k, ohm in enumerate(ohms)], "kind")
    (part,) = learned.loom.components
    assert part.resistance_ohm == pytest.approx(101.0)  # (98 + 100 + 105) / 3
    assert part.tolerance_pct == pytest.approx(100 * 4 / 101, rel=0.01)
    for ohm in ohms:
        assert abs(ohm - 101.0) <= 101.0 * (part.tolerance_pct or 0.0) / 100 + 0.01
    assert part.note == "mean of 3 reference looms, 98 to 105 ohm"


def test_a_part_that_not_all_have_is_a_question() -> None:
    learned = learn([reference("1"), reference("2", ohm=None)], "kind")
    assert learned.loom.components == ()
    assert learned.questions == ("resistor from A:4 to B:4: only ref 1 has it once. Does it belong there?",)


def test_colours_that_differ_are_not_taken() -> None:
    learned = learn([reference("1"), reference("2", colour="BK")], "kind")
    assert {wire.colour for wire in learned.loom.wires} == {""}


def test_looms_with_other_cavities_are_refused() -> None:
    other = loom("other", {"A": 4, "B": 4, "D": 2})
    with pytest.raises(InputError, match=r"ref 1 has a cavity C:1, other has not"):
        learn([reference("1"), other], "kind")
    with pytest.raises(InputError, match="no reference loom was named"):
        learn([], "kind")


@pytest.mark.parametrize("seed", range(6))
def test_what_is_learned_of_random_looms_is_what_all_join(seed: int) -> None:
    rng = random.Random(seed)
    looms = [_random(rng) for _ in range(rng.randint(1, 4))]
    learned = learn(looms, "kind")
    assert pairs(learned.loom) == _common(looms)
    assert bool(learned.questions) == any(pairs(one) != _common(looms) for one in looms)


def _random(rng: random.Random) -> Loom:
    ends = [f"{plug}:{k}" for plug, size in SIZES.items() for k in range(1, size + 1)]
    rng.shuffle(ends)
    nets = [" ".join(ends[:3]), " ".join(ends[3:5]), " ".join(ends[5:9])]
    return loom("one", SIZES, *nets)


def _common(looms: Sequence[Loom]) -> set[frozenset[str]]:
    return set.intersection(*map(pairs, looms))


def test_the_command_writes_asks_and_is_told_on_the_certificate(tmp_path: Path, capsys: Captured) -> None:
    for serial in ("1", "2"):
        write_folder(reference(serial, *WIRED[: 4 - int(serial)]), tmp_path / serial)
    target = tmp_path / "kind"
    assert run(["learn", str(tmp_path / "1"), str(tmp_path / "2"), "--to", str(target)]) == 0
    assert "? A:3 | B:3: one net in ref 1, not in ref 2." in capsys.readouterr().out
    learned = load(target).loom
    assert learned.learned_from == ("ref 1", "ref 2")
    store = ["--store", str(tmp_path / "s.db"), "--out", str(tmp_path / "out")]
    run(["prove", str(target), "--bench", "sim:", *store])
    said = " ".join(capsys.readouterr().out.split())
    assert "learned from ref 1, ref 2" in said or "learned from ref 1, ref 2" in _results(tmp_path)


def _results(folder: Path) -> str:
    return "".join(path.read_text() for path in (folder / "out").glob("*.results.json"))


def test_what_it_was_learned_from_goes_through_every_form(tmp_path: Path) -> None:
    learned = replace(learn([reference("1"), reference("2")], "kind").loom, traced_in=("a run", "another"))
    write_folder(learned, tmp_path / "source")
    assert load(tmp_path / "source").loom.learned_from == ("ref 1", "ref 2")
    for option, name in (("--workbook", "book.xlsx"), ("--kbl", "loom.kbl")):
        path = tmp_path / name
        assert run(["export", str(tmp_path / "source"), option, str(path)]) == 0
        assert load(path).loom.learned_from == ("ref 1", "ref 2")
        assert load(path).loom.traced_in == ("a run", "another")
