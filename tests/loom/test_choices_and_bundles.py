"""Choices make circuits needed, optional or unused; bundles say which wires lie side by side."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.errors import UsageError
from loomproof.loom.choices import answers_of, needs_of
from loomproof.loom.model import Connector, ConnectorKind, End, Need
from loomproof.loom.reading import load

LOOM = load(Path(__file__).parents[2] / "fixtures/hillclimb_engine").loom


def test_defaults_hold_where_nothing_is_said() -> None:
    answers = answers_of(LOOM, [])
    assert answers == {"fan": "computer", "purge": "no", "gearbox": "no", "revs": "yes"}
    needs = needs_of(LOOM, answers)
    assert needs["fan"] is Need.NEEDED
    assert needs["purge-valve"] is Need.UNUSED


def test_an_answer_changes_the_circuits_it_speaks_of_and_no_other() -> None:
    before, after = needs_of(LOOM, answers_of(LOOM, [])), needs_of(LOOM, answers_of(LOOM, ["fan=switch"]))
    assert {name for name in before if before[name] != after[name]} == {"fan", "fan-control"}
    assert after["fan"] is Need.UNUSED


@pytest.mark.parametrize(
    ("said", "cure"),
    [
        (["fann=switch"], "There is fan."),
        (["fan=swich"], "There is switch."),
        (["fan"], "Like fan=computer."),
        (["fan=switch", "fan=computer"], ""),
    ],
)
def test_a_wrong_answer_is_said_with_the_near_miss(said: list[str], cure: str) -> None:
    with pytest.raises(UsageError) as caught:
        answers_of(LOOM, said)
    assert caught.value.cure == cure


def test_a_twisted_pair_is_partners() -> None:
    assert LOOM.wire_by_name["W72"].partners == ("W73",)


def test_neighbours_are_beside_above_and_below_but_not_across() -> None:
    plug = Connector("P", ConnectorKind.PLUG, (("1", "2", "3"), ("4", "", "6")))
    assert set(plug.neighbours("2")) == {"1", "3"}
    assert set(plug.neighbours("1")) == {"2", "4"}
    assert set(plug.neighbours("6")) == {"3"}
    assert set(LOOM.neighbours(End("ECU-B", "8"))) == {End("ECU-B", n) for n in ("7", "9", "20")}
