"""``loomproof wiggle``: what is shown of a watch, and what is refused before one."""

from __future__ import annotations

import json
import math
from datetime import datetime
from pathlib import Path

import pytest
from click import BadParameter

from loomproof.cli.kinds import TIME
from loomproof.jobs.wiggle import Hands, Wiggle, places_of
from loomproof.loom.model import End
from loomproof.loom.reading import load
from loomproof.results.wiggled import NetWatched, Wiggled
from loomproof.screens.wiggle import sum_up
from tests.cli.running import loomproof

TAIL_LAMP = Path(__file__).parents[2] / "fixtures" / "tail_lamp"


def test_a_loose_contact_is_told_as_it_shows_and_in_the_table(tmp_path: Path) -> None:
    address = "sim:?fault=loose%20LAMP:2%204%20Hz"
    done = loomproof("wiggle", TAIL_LAMP, "--bench", address, "--for", "1s", XDG_DATA_HOME=str(tmp_path))
    assert done.returncode == 1
    assert "break at" in done.stderr
    assert "over after" in done.stderr
    assert "LAMP:2" in done.stdout
    assert "shortest surely seen event" in done.stdout
    assert "the contact of" in done.stdout
    assert "no intermittent" not in done.stdout.lower()
    assert "%" not in done.stdout  # nobody said what was moved: nothing tells the suspects apart


def test_a_place_that_the_loom_has_not_is_refused_with_the_near_name() -> None:
    done = loomproof("wiggle", TAIL_LAMP, "--bench", "sim:", "--place", "left=LAMPP")
    assert done.returncode == 2
    assert "place left: LAMPP is neither a connector nor a wire" in done.stderr
    assert "LAMP" in done.stderr.split("LAMPP", 1)[1]


@pytest.mark.parametrize("place", ["left", "=LAMP", "left="])
def test_a_place_without_name_or_parts_is_refused(place: str) -> None:
    done = loomproof("wiggle", TAIL_LAMP, "--bench", "sim:", "--place", place)
    assert done.returncode == 2
    assert "as left=LAMP,W2" in " ".join(done.stderr.split())


@pytest.mark.parametrize(
    ("said", "seconds"), [("5min", 300.0), ("90s", 90.0), ("90", 90.0), ("1.5h", 5400.0), ("0,5min", 30.0)]
)
def test_a_time_is_read_as_people_say_it(said: str, seconds: float) -> None:
    assert TIME.convert(said, None, None) == seconds


@pytest.mark.parametrize("said", ["", "soon", "0s", "5h", "-5s", "5 m"])
def test_what_is_no_time_is_refused(said: str) -> None:
    with pytest.raises(BadParameter):
        TIME.convert(said, None, None)


def shown(watched: Wiggled, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    wiggle = Wiggle(watched, ())
    sum_up(wiggle)
    code = 1 if wiggle.troubles else 0 if wiggle.whole else 3
    return code, " ".join(capsys.readouterr().out.split())


def test_a_quiet_watch_says_its_figures_and_never_more(capsys: pytest.CaptureFixture[str]) -> None:
    nets = (NetWatched((End("A", "1"), End("B", "1")), 60.0, 60.0), NetWatched((End("A", "2"),), 0.0, 60.0))
    code, said = shown(Wiggled(60.0, nets, 1234), capsys)
    assert code == 0
    assert "Watched 1 net for breaks for 60.0 s, and 2 for touching each other for 60.0 s" in said
    assert "1.3 ms" in said
    assert "Nothing was seen in that time" in said


def test_what_was_lost_is_said_and_is_no_quiet_watch(capsys: pytest.CaptureFixture[str]) -> None:
    nets = (NetWatched((End("A", "1"), End("B", "1")), 50.0, 50.0),)
    code, said = shown(Wiggled(60.0, nets, None, lost=3, unwatched_s=10.0), capsys)
    assert code == 3
    assert "3 events or more were lost on the line; 10.0 s are taken out of the time above" in said
    assert "not known" in said


def test_hands_keep_what_is_moved_and_for_how_long() -> None:
    moment = [0.0]
    hands = Hands(places_of(load(TAIL_LAMP).loom), clock=lambda: moment[0])
    assert hands.now() == ""
    first = hands.choose(1)
    moment[0] = 4.0
    second = hands.choose(2)
    moment[0] = 5.0
    assert hands.now() == second != first
    assert hands.spent_s() == {first: 4.0, second: 1.0}
    assert (hands.choose(9), hands.choose(0)) == ("", "")
    moment[0] = 9.0
    assert hands.spent_s() == {first: 4.0, second: 1.0}


def test_all_figures_of_a_watch_are_kept_as_json(tmp_path: Path) -> None:
    address = "sim:?fault=loose%20LAMP:2%204%20Hz"
    file = tmp_path / "watch.json"
    given = ("wiggle", TAIL_LAMP, "--bench", address, "--for", "1s", "--place", "left=LAMP")
    done = loomproof(*given, "--json", file, XDG_DATA_HOME=str(tmp_path))
    assert done.returncode == 1
    kept = json.loads(file.read_text(encoding="utf-8"))
    assert kept["loom"] == {"name": load(TAIL_LAMP).loom.name, "digest": load(TAIL_LAMP).loom.digest}
    assert datetime.fromisoformat(kept["started"]).tzinfo is not None
    assert kept["asked_s"] == 1.0
    assert 0.0 < kept["watched_s"] <= min(net["breaks_s"] for net in kept["nets"] if net["cavities"][1:])
    assert f"shortest surely seen event {math.ceil(kept['shortest_us'] / 100) / 10} ms" in " ".join(
        done.stdout.split()
    )
    assert kept["places"] == [{"name": "left", "connectors": ["LAMP"], "wires": []}]
    assert len(kept["seen"]) == done.stderr.count("break at") > 0
    assert {each["change"] for each in kept["seen"]} == {"break"}
    assert all("LAMP:2" in kept["nets"][each["nets"][0]]["cavities"] for each in kept["seen"])
    assert sum(trouble["times"] for trouble in kept["troubles"]) == len(kept["seen"])
    assert "LAMP:2" in {suspect["contact"] for suspect in kept["troubles"][0]["suspects"]}


def test_figures_on_standard_output_stand_alone_there(tmp_path: Path) -> None:
    given = ("wiggle", TAIL_LAMP, "--bench", "sim:", "--for", "1s", "--json", "-")
    done = loomproof(*given, XDG_DATA_HOME=str(tmp_path))
    assert json.loads(done.stdout)["seen"] == []
    assert "Nothing was seen in that time" in done.stderr


def test_figures_that_have_no_folder_to_go_to_are_refused_before_the_watch(tmp_path: Path) -> None:
    done = loomproof("wiggle", TAIL_LAMP, "--bench", "sim:", "--json", tmp_path / "none" / "watch.json")
    assert done.returncode == 2
    assert "there is no folder" in done.stderr
