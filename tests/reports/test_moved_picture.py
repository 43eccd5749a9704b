"""The picture of a watch: each event at its time and place, in marks that differ by shape; its words."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from loomproof.loom.model import End
from loomproof.reports.drawing_svg import text_width
from loomproof.reports.moved_picture import LEFT, RIGHT, WIDTH, moved_picture
from loomproof.results.wiggled import Change, Moved, NetWatched, Suspect, Trouble, Wiggled

SVG = "{http://www.w3.org/2000/svg}"
A, B, C = End("A", "1"), End("B", "1"), End("C", "1")
NETS = (NetWatched((A, B), 59.0, 59.0), NetWatched((C,), 0.0, 59.0))


def moved(
    at_s: float, change: Change = Change.BREAK, place: str = "", length_us: int | None = 3_000
) -> Moved:
    nets, ends = ((0,), (B,)) if change is Change.BREAK else ((0, 1), (A, B, C))
    return Moved(at_s, change, nets, ends, length_us, place)


def trouble(change: Change, times: int) -> Trouble:
    first = moved(0.0, change)
    suspect = (Suspect("the contact of B:1", ("W1",), B, 0.7),) if change is Change.BREAK else ()
    return Trouble(change, first.cavities, first.nets, times, 3_000, 25_000, {"left": times}, suspect)


SEEN = (
    moved(6.0, place="left"),
    moved(30.0, place="left"),
    moved(45.0, Change.TOUCH, "right"),
    moved(54.0, place=""),
    moved(59.0, Change.JOIN, "right", None),
)
WATCHED = Wiggled(60.0, NETS, 1234, lost=2, unwatched_s=1.0, seen=SEEN)
TROUBLES = (trouble(Change.BREAK, 3), trouble(Change.TOUCH, 1))


def root(text: str) -> ElementTree.Element:
    return ElementTree.fromstring(text.encode())


def texts(text: str) -> list[str]:
    return [node.text or "" for node in root(text).iter(f"{SVG}text")]


def test_each_event_stands_at_its_time_in_its_place() -> None:
    drawn = moved_picture("loom", WATCHED, TROUBLES, ["left", "middle", "right"])
    bars = [node for node in root(drawn).iter(f"{SVG}rect") if node.get("fill") == "#c1121f"]
    at = sorted((float(node.get("x", "")) - LEFT) / (WIDTH - LEFT - RIGHT) * 60.0 for node in bars)
    assert at == pytest.approx([6.0, 30.0, 54.0], abs=0.1)
    rows = {float(node.get("y", "")) for node in bars}
    assert len(rows) == 2, "one place and what nothing was said of"
    (dot,) = root(drawn).iter(f"{SVG}circle")
    assert (float(dot.get("cx", "")) - LEFT) / (WIDTH - LEFT - RIGHT) * 60.0 == pytest.approx(45.0, abs=0.1)
    said = texts(drawn)
    assert [text for text in said if text in ("left", "middle", "right", "nothing said")] == [
        "left",
        "middle",
        "right",
        "nothing said",
    ]
    assert said.count("× 2") == 1
    assert "a bar: a break; a dot: a touch; a frame: open at rest, and joined for a while" in said


def test_it_says_no_more_than_the_watch_did() -> None:
    said = " ".join(texts(moved_picture("loom", WATCHED, TROUBLES)))
    assert "1: break of B:1, 3 times, 3.0 ms to 25 ms long; likeliest the contact of B:1." in said
    assert "Watched for breaks for 59.0 s of 60 s; what lasts 1.3 ms is surely seen." in said
    assert "2 events or more were lost on the line; 1.0 s are not counted as watched." in said
    quiet = " ".join(texts(moved_picture("loom", Wiggled(60.0, NETS, None), ())))
    assert "What moves more rarely, shorter or otherwise is not ruled out." in quiet
    assert "how short a change is surely seen is not known" in quiet


def test_it_is_the_same_each_time_and_its_words_fit() -> None:
    names = ["a bundle with a name that is far longer than any that fits beside the time " * 2, "<&>\x07"]
    seen = (moved(1.0, place=names[0]), moved(2.0, place=names[1]))
    drawn = moved_picture("loom " * 30, Wiggled(60.0, NETS, 1, seen=seen), TROUBLES, names)
    assert drawn == moved_picture("loom " * 30, Wiggled(60.0, NETS, 1, seen=seen), TROUBLES, names)
    height = float(root(drawn).get("height", ""))
    for node in root(drawn).iter(f"{SVG}text"):
        size, x, y = (float(node.get(key, "")) for key in ("font-size", "x", "y"))
        wide = text_width(node.text or "", size, bold=node.get("font-weight") == "bold")
        left = {"end": x - wide, "middle": x - wide / 2}.get(node.get("text-anchor", ""), x)
        assert left >= 0.0, node.text
        assert left + wide <= WIDTH, node.text
        assert 0.0 < y <= height


def test_ten_thousand_events_are_no_ten_thousand_marks() -> None:
    seen = tuple(moved(k * 0.006, place="left", length_us=100) for k in range(10_000))
    drawn = moved_picture("loom", Wiggled(60.0, NETS, 90, seen=seen), (trouble(Change.BREAK, 10_000),))
    assert len(re.findall("<rect", drawn)) < 2 * (WIDTH - LEFT - RIGHT) + 50
    assert "× 10000" in texts(drawn)
