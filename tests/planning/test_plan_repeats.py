"""A plan with repeats says how many readings a proof with them takes, and how long; a proof counts them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import loomproof as lp
from loomproof.errors import UsageError
from tests.cli.running import loomproof

pytestmark = pytest.mark.usefixtures("simulated_within")


@pytest.fixture(scope="module")
def lamp(fixtures: Path) -> lp.Loom:
    return lp.load(fixtures / "tail_lamp")


@pytest.mark.parametrize("repeats", [1, 3])
@pytest.mark.parametrize("bench", ["sim:", "sim:?four-wire=0.001:0.001"])
def test_a_plan_foretells_the_readings_of_a_proof(fixtures: Path, bench: str, repeats: int) -> None:
    """Two wires are read once beside four, however often the four are; isolation is read as it is."""
    loom = fixtures / "tail_lamp"
    told = loomproof("plan", loom, "--bench", bench, "--repeats", str(repeats)).stdout
    often = "once" if repeats == 1 else f"{repeats} times"
    planned = re.search(rf"Each resistance is read {often}: about (\d+) readings of a sound loom, ", told)
    proved = loomproof("prove", loom, "--bench", bench, "--repeats", str(repeats), "--made-safe").stdout
    asked = re.search(r"(\d+) resistance readings", proved)
    assert planned is not None, told
    assert asked is not None
    assert planned[1] == asked[1]


def test_more_repeats_show_more_and_take_longer(lamp: lp.Loom) -> None:
    with lp.open_bench("sim:?seed=1", loom=lamp) as bench:
        once, often = (lp.plan(lamp, bench, repeats=count) for count in (1, 100))
    *_, said = often.isolation
    assert re.search(r"read 100 times: about \d+ readings of a sound loom, \d+ s at 20 ms each", said)
    assert "under 1 s at 20 ms each" in list(once.isolation)[-1]
    assert often.plan.meter is not None
    assert often.plan.meter.repeats == 100


def test_repeats_of_no_reading_are_refused(lamp: lp.Loom, fixtures: Path) -> None:
    with pytest.raises(UsageError, match="3 repeats of no reading: no bench was asked"):
        lp.plan(lamp, repeats=3)
    engine = fixtures / "hillclimb_engine"
    done = loomproof("plan", engine, "--points", "64", "--repeats", "3")
    assert (done.returncode, "a plan of hook-ups shows no readings" in done.stderr) == (2, True)


def test_a_plan_without_a_bench_says_nothing_of_one(fixtures: Path) -> None:
    """Nobody has said that the bench has no ohms: none was asked."""
    loom = fixtures / "tail_lamp"
    bare = loomproof("plan", loom).stdout
    assert "No bench was asked, so this is the plan of a scanner that only senses" in bare
    assert "on such a bench" in bare
    assert "This bench" not in bare
    asked = loomproof("plan", loom, "--bench", "sim:?no-ohms").stdout
    assert "This bench has no ohms. Not asked: resistance of wires and joints" in asked


def test_by_hand_each_value_is_said_to_be_asked_so_often(fixtures: Path) -> None:
    told = loomproof("plan", fixtures / "tail_lamp", "--bench", "hand:?ohms", "--repeats", "2").stdout
    assert "Each value in ohms is asked for 2 times." in told
    assert "ms each" not in told, "a person takes as long as a person takes"
