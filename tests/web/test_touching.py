"""What pages see of jobs at the probe and of a watch, event by event, and what they may say to them."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from loomproof.bench.adapter import in_order, read_adapter, write_adapter
from loomproof.errors import UsageError
from loomproof.jobs.events import (
    Change,
    Event,
    Lifted,
    Moved,
    Progress,
    Prompt,
    Shown,
    TouchAsked,
    Touched,
    WatchBegins,
)
from loomproof.jobs.job import Job
from loomproof.jobs.learn_adapter import Word
from loomproof.jobs.naming import Key, Letters
from loomproof.jobs.touched import Telling
from loomproof.jobs.wiggle import Hands, Wiggle, places_of
from loomproof.loom.model import End
from loomproof.loom.reading import load
from loomproof.naming.answers import begun
from loomproof.naming.desk import Desk, steps
from loomproof.naming.happening import Touch
from loomproof.naming.shown import shown
from loomproof.results.wiggled import NetWatched, Wiggled
from loomproof.web.moving import MOST_MARKS, Watching
from loomproof.web.sight import Seen, Sight
from loomproof.web.touching import MOST_TOUCHES, Learning, Naming, Saying
from loomproof.web.workplace import Workplace
from tests.web.asking import LOOMS, client, house

TAIL = load(LOOMS / "tail_lamp").loom
A, B, C = (End("BODY", cavity) for cavity in "123")


def items(sight: Sight, *events: Event) -> dict[str, object]:
    """Return the items that stand there after the beginning and these events."""
    there: dict[str, object] = {}
    for seen in (sight.begun(), *map(sight.see, events)):
        there |= seen.items
    return {key: item for key, item in there.items() if item is not None}


def test_ends_that_are_learned_taken_back_and_left_out_are_seen_so() -> None:
    sight = Learning(TAIL, "t.csv", {C: 9})
    asked = [TouchAsked(end, number, 12) for number, end in enumerate((A, B), start=1)]
    assert items(sight, asked[0], Touched((7,), (A,)), asked[1]) == {
        "BODY:3": {"point": 9},
        "BODY:1": {"point": 7},
    }
    assert items(sight, asked[0]) == {"BODY:3": {"point": 9}}, "taken back"
    assert items(sight, asked[1]) == {"BODY:3": {"point": 9}, "BODY:1": {"left": True}}
    seen = sight.see(asked[1])
    assert (seen.values["asked"], seen.waits) == (
        {"end": "BODY:2", "number": 2, "of": 12},
        ("waiting for a touch", 1, 12),
    )
    assert sight.left().lines == ("t.csv: 1 of 13 ends learned.",)
    sight.see(Touched((8,), (B,)))
    assert sight.see(asked[1]).values["learned"] is None, "taken back: it is said no longer"


def test_how_an_end_is_asked_for_stands_apart_from_what_became_of_it() -> None:
    sight = Learning(TAIL, "t.csv", {})
    sight.see(TouchAsked(A, 1, 13))
    assert sight.see(Prompt("Touch BODY:1 …")).values == {"how": "Touch BODY:1 …"}
    assert sight.see(Prompt("  BODY:1: point 3 is BODY:2 already")).values == {
        "note": "BODY:1: point 3 is BODY:2 already"
    }
    assert sight.see(Touched((7,), (A,))).values["note"] == ""


def test_words_are_heard_in_turn_and_done_ends_the_wait() -> None:
    sight = Learning(TAIL, "t.csv", {})
    patience = sight.patience
    assert patience.said() is None
    soon = patience.clock()
    for word in ("undo", "skip", "done"):
        sight.hear({"word": word})
    assert [patience.said() for _ in range(4)] == [Word.UNDO, Word.SKIP, Word.DONE, None]
    assert patience.clock() > soon + 1e9
    for said in ({}, {"word": "no"}, {"word": 3}, {"probe": "BODY:1"}):
        with pytest.raises(UsageError):
            sight.hear(said)


def test_the_probe_of_a_simulated_bench_is_held_on_ends_alone() -> None:
    sight, held = Saying(Telling(TAIL, in_order(TAIL.cavities))), []
    assert sight.see(Progress("x")).values == {"held": False}

    def hold(end: End | None) -> str:
        held.append(end)
        return "ok" if end != B else "error: no"

    sight.held_by(hold)
    assert sight.see(Progress("x")).values == {"held": True}
    assert sight.hear({"probe": "BODY:1"}).values == {"probe": "BODY:1"}
    sight.hear({"probe": None})
    for said in ("BODY:2", "BODY:1\nfault open W1", 1):
        with pytest.raises(UsageError):
            sight.hear({"probe": said})
    assert held == [A, None, B]


def test_the_probe_is_lifted_before_it_is_held_elsewhere_and_told_to_be_taken_off() -> None:
    sight, held = Saying(Telling(TAIL, in_order(TAIL.cavities))), []
    assert any("Take the probe off" in line for line in sight.ended(None).lines)

    def hold(end: End | None) -> str:
        held.append(end)
        return "ok"

    sight.held_by(hold)
    for end in (A, A, B):
        sight.hear({"probe": str(end)})
    assert held == [A, A, None, B]
    assert sight.ended(None).lines == ("0 touches told.",), "the page takes its own off"


def test_on_any_bench_it_is_seen_whether_the_probe_is_on_what_is_told() -> None:
    sight = Saying(Telling(TAIL, in_order(TAIL.cavities)))
    seen = [sight.see(each).values.get("on") for each in (Touched((1,), (A,)), Lifted(), Touched((2,), (B,)))]
    assert seen == [True, False, True]


def test_of_many_touches_the_last_stay() -> None:
    sight = Saying(Telling(TAIL, in_order(TAIL.cavities)))
    there = items(sight, *[Touched((1, 7), (A, End("LAMP", "1")))] * (MOST_TOUCHES + 3))
    assert sorted(map(int, there)) == list(range(4, MOST_TOUCHES + 4))
    assert sight.ended(None).lines[0] == f"{MOST_TOUCHES + 3} touches told."


def pressed(said: dict[str, object]) -> list[Key | Letters]:
    sight = Naming(TAIL, {end: end for end in TAIL.cavities})
    sight.hear(said)
    return sight.pressed(0.0)


def test_a_line_on_the_page_is_the_line_of_the_job() -> None:
    assert pressed({"line": "LAMP:2"}) == [Key.CLEAR, Letters("LAMP:2")]
    assert pressed({"line": "2A:1", "press": "enter"}) == [
        Key.CLEAR,
        Letters(" "),
        Letters("2A:1"),
        Key.ENTER,
    ], "a figure alone would take a suggestion"
    assert pressed({"line": "  "}) == [Key.CLEAR]
    assert pressed({"press": "take", "times": 2}) == [Key.CLEAR, Letters("2")]
    assert pressed({"press": "other", "times": 3}) == [Key.OTHER_END] * 3
    assert pressed({"press": "done"}) == [Key.STOP]
    wrong: tuple[dict[str, object], ...] = (
        {"press": "quit"},
        {"press": "take", "times": "2"},
        {"press": "other", "times": 10_000},
    )
    for said in wrong:
        with pytest.raises(UsageError):
            pressed(said)


def test_what_ends_are_called_is_seen_where_it_changes() -> None:
    named = begun(TAIL)
    sight = Naming(TAIL, named.names)
    desk = steps(Desk(named), [Touch((A, End("LAMP", "1")))])
    first = sight.see(shown(desk))
    assert first.items == {}
    assert [each["end"] for each in first.values["shown"]["ends"]] == ["BODY:1", "LAMP:1"]
    after = shown(steps(desk, [*sight_keys(sight, {"line": "PLUG:4", "press": "enter"}), Key.ENTER]))
    assert isinstance(after, Shown)
    seen = sight.see(after)
    assert len(seen.items) == 1
    assert list(seen.items.values()) == [{"name": "PLUG:4"}], "asked, for its plug has a name, and confirmed"


def test_what_stands_there_says_up_to_where_it_has_heard_the_page() -> None:
    named = begun(TAIL)
    sight, stands = Naming(TAIL, named.names), shown(Desk(named))
    assert sight.see(stands).values["heard"] == 0
    sight.hear({"line": "X", "number": 1})
    sight.hear({"line": "XY", "number": 2})
    assert sight.see(stands).values["heard"] == 0, "the job has not taken them yet"
    sight.pressed(0.0)
    assert sight.see(stands).values["heard"] == 2


def sight_keys(sight: Naming, said: dict[str, object]) -> list[Key | Letters]:
    sight.hear(said)
    return sight.pressed(0.0)


def watching() -> Watching:
    sight = Watching(TAIL, Hands(places_of(TAIL)), Job(TAIL, "sim:"))
    nets = ((A, End("LAMP", "1")), (B, End("LAMP", "2")), (C,))
    seen = sight.see(WatchBegins(60.0, nets))
    assert seen.values["nets"][1] == {"ends": "BODY:2, LAMP:2", "wires": "W2"}
    return sight


def test_a_break_is_one_mark_from_its_beginning_to_its_end() -> None:
    sight = watching()
    broken = Moved(1.0, Change.BREAK, (1,), (End("LAMP", "2"),))
    other = Moved(1.1, Change.BREAK, (0,), (End("LAMP", "1"),))
    first = sight.see(broken).items["1"]
    assert (first["length"], first["ends"], first["nets"]) == ("", "LAMP:2", (1,))
    assert first["likely"] == "W2 or the contact of BODY:2 or the contact of LAMP:2"
    sight.see(other)
    over = sight.see(replace(broken, length_us=24_000))
    assert over.items == {"1": {**first, "length_us": 24_000, "length": "24 ms"}}
    assert sight.see(replace(broken, length_us=24_000)) == Seen()


def test_a_touch_is_told_with_all_that_it_showed_by_its_end() -> None:
    sight = watching()
    sight.see(Moved(1.0, Change.TOUCH, (0,), (A,)))
    over = sight.see(Moved(1.0, Change.TOUCH, (0, 1), (A, B), 900))
    assert over.items["1"]["nets"] == (0, 1)
    assert over.items["1"]["ends"] == "BODY:1, BODY:2"
    assert "side by side" in over.items["1"]["likely"]


def test_of_many_marks_the_last_stay_and_all_are_counted() -> None:
    sight = watching()
    broken = Moved(1.0, Change.BREAK, (1,), (End("LAMP", "2"),))
    both = [broken, replace(broken, length_us=5)] * (MOST_MARKS + 2)
    there = items(sight, *both)
    assert sorted(map(int, there)) == list(range(3, MOST_MARKS + 3))
    assert sight.see(broken).values == {"marks": MOST_MARKS + 3}


def test_a_watch_that_a_person_stopped_is_an_end_like_another(monkeypatch: pytest.MonkeyPatch) -> None:
    sight = watching()
    assert sight.stopped() is None, "nothing was seen yet"
    nets = (NetWatched((A, End("LAMP", "1")), 8.1, 8.0),)
    seen = Wiggle(Wiggled(300.0, nets, 6461, 0, 0.0, ()), ())
    monkeypatch.setattr(Watching, "wiggled", property(lambda _: seen))
    ending = sight.stopped()
    assert ending is not None
    assert ending.lines[0] == "Stopped by hand after 8.1 s of 300 s."
    assert "shortest surely seen event 6.5 ms" in ending.lines[1]


def test_what_is_moved_is_said_by_its_digit() -> None:
    sight = watching()
    assert sight.hear({"digit": 2}).values == {"digit": 2}
    assert Hands().now() == ""
    for said in ({"digit": 4}, {"digit": -1}, {"digit": "2"}, {}):
        with pytest.raises(UsageError):
            sight.hear(said)


def asked(out: Path, path: str, form: dict[str, str] | None = None, said: object = None) -> httpx.Response:
    async def ask() -> httpx.Response:
        async with client(house(out)) as asks:
            if said is not None:
                return await asks.post(path, json=said)
            return await (asks.get(path) if form is None else asks.post(path, data=form))

    return asyncio.run(ask())


@pytest.mark.parametrize(
    ("path", "form", "said"),
    [
        ("/touch/tail_lamp/learn", {"table": "../../etc/passwd"}, "no table of that name was begun here"),
        ("/touch/tail_lamp/say", {"bench": "tcp:127.0.0.1:9"}, "no bench at this address"),
        ("/touch/tail_lamp/name", {"car": "/etc/passwd"}, "there is no loom of that name"),
        ("/wiggle/tail_lamp/watch", {"seconds": "1e9"}, "is no time"),
        (
            "/wiggle/tail_lamp/watch",
            {"seconds": "5 min", "adapter": "/etc/passwd"},
            "no adapter of that name",
        ),
    ],
)
def test_what_can_not_be_meant_is_said_beside_the_form(
    path: str, form: dict[str, str], said: str, tmp_path: Path
) -> None:
    found = asked(tmp_path, path, {"bench": "sim:", **form})
    assert found.status_code == 409
    assert said in found.text
    assert "<form" in found.text


def test_nothing_is_said_to_no_job_and_no_watch_has_figures(tmp_path: Path) -> None:
    found = asked(tmp_path, "/prove/say", said={"word": "done"})
    assert (found.status_code, found.json()["message"]) == (409, "no job runs that this could be said to")
    for path in ("/wiggle/picture", "/wiggle/figures"):
        assert asked(tmp_path, path).status_code == 400


def test_learned_tables_are_offered_for_their_loom(tmp_path: Path) -> None:
    place = Workplace(LOOMS, tmp_path)
    first = place.new_table("tail_lamp")
    assert first.name == "tail_lamp.adapter.csv"
    write_adapter(in_order(TAIL.cavities), first)
    assert list(place.learned("tail_lamp")) == [first.name]
    assert place.learned("hillclimb_engine") == {}
    assert place.new_table("tail_lamp").name == "tail_lamp.adapter-2.csv"
    said = place.adapter(first.name)
    assert isinstance(said, str)
    assert read_adapter(Path(said)).points == in_order(TAIL.cavities).points
    for path in ("/looms/tail_lamp", "/touch/tail_lamp", "/wiggle/tail_lamp"):
        assert f">{first.name}<" in asked(tmp_path, path).text
