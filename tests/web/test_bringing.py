"""Looms that are brought, without a browser: what they are taken for and asked, what is never written."""

from __future__ import annotations

import asyncio
import io
import shutil
import zipfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from loomproof.cli.cures import how
from loomproof.loom.kbl.writing import write
from loomproof.loom.reading import load
from loomproof.loom.writing import workbook_bytes
from loomproof.web.answers import House
from loomproof.web.cures import on_pages
from loomproof.web.guard import FILES
from tests.web.asking import LOOMS, client, house

LIST = b"wire;colour;from;to\nW1;RD;A:1;B:1\nW2;BU;A:2;B:2\n"


@pytest.fixture
def of(tmp_path: Path) -> House:
    looms = tmp_path / "looms"
    looms.mkdir()
    return house(tmp_path / "out", looms)


def posted(
    of: House, path: str, form: Mapping[str, str] | None = None, files: object = None, **more: object
) -> httpx.Response:
    """Send a form, and follow where it leads."""

    async def ask() -> httpx.Response:
        async with client(of) as asks:
            asks.follow_redirects = True
            return await asks.post(path, data=dict(form or {}), files=files)  # type: ignore[arg-type]

    return asyncio.run(ask())


def brought(of: House, *files: tuple[str, bytes]) -> httpx.Response:
    return posted(of, "/brought", files=[("file", each) for each in files])


def below(of: House) -> list[str]:
    """Return every file under the folder that all of a test lies in."""
    root = of.workplace.looms.parent
    return sorted(str(path.relative_to(root)) for path in root.rglob("*") if path.is_file())


def test_a_folder_is_shown_before_it_is_kept_and_then_is_the_same_loom(of: House) -> None:
    source = LOOMS / "tail_lamp"
    files = [(f"lamp/{path.name}", path.read_bytes()) for path in sorted(source.iterdir())]
    shown = brought(of, *files, ("lamp/../../evil.toml", b"x"))
    assert shown.status_code == 200
    assert "Nothing is kept yet" in shown.text
    assert "Not read: evil.toml" in shown.text
    assert below(of) == []
    kept = posted(of, f"{shown.url.path}/keep", {"called": "../../left lamp <b>"})
    assert kept.status_code == 200
    assert kept.url.path == "/looms/left-lamp-b/look"
    assert load(of.workplace.looms / "left-lamp-b").loom == load(source).loom
    assert all(name.startswith("looms/left-lamp-b/") for name in below(of))


def test_a_workbook_and_a_kbl_file_are_taken_for_what_they_are(of: House) -> None:
    loom = load(LOOMS / "tail_lamp").loom
    book = brought(of, ("x.xlsx", workbook_bytes(loom)))
    assert "Taken for the workbook of a loom" in book.text
    posted(of, f"{book.url.path}/keep", {"called": "book"})
    assert load(of.workplace.looms / "book.xlsx").loom == loom
    harness = brought(of, ("its own name.kbl", write(loom).content))
    assert "Taken for a KBL or VEC file" in harness.text
    posted(of, f"{harness.url.path}/keep", {"called": "harness"})
    assert load(of.workplace.looms / "harness").loom.digest == loom.digest
    wrong = brought(of, ("its own name.kbl", b"<x/>"))
    assert wrong.status_code == 409
    assert "its own name.kbl" in wrong.text
    assert "brought.kbl" not in wrong.text
    assert "/tmp" not in wrong.text


def test_a_list_is_confirmed_and_its_next_issue_shows_what_changed(of: House) -> None:
    shown = brought(of, ("wires.txt.csv", LIST))
    for text in ("a wire in each row", "column colour", "2: 2 read", "2 wires"):
        assert text in shown.text
    refused = posted(of, f"{shown.url.path}/keep", {"called": "pair"})
    assert refused.status_code == 409
    assert "nobody has confirmed these columns" in refused.text
    assert below(of) == []
    posted(of, f"{shown.url.path}/keep", {"called": "pair", "right": "yes"})
    assert load(of.workplace.looms / "pair").loom.wire_by_name["W2"].colour == "BU"
    again = brought(of, ("pair.csv", LIST.replace(b"BU", b"GN")))
    assert "Changed since the last issue" in again.text
    assert "W2" in again.text.partition("Changed since the last issue")[2]
    assert load(of.workplace.looms / "pair").loom.wire_by_name["W2"].colour == "BU"
    posted(of, f"{again.url.path}/keep", {"called": "pair", "right": "yes"})
    assert load(of.workplace.looms / "pair").loom.wire_by_name["W2"].colour == "GN"


def test_what_a_list_leaves_open_is_asked_and_answered(of: House) -> None:
    rows = b"wire,from,to,length\nW1,A:1,B:1,1200\nW2,A:2,B:2,800\n"
    shown = brought(of, ("x.csv", rows))
    assert 'name="question" value="length"' in shown.text
    strange = posted(of, f"{shown.url.path}/read", {"question": "length", "answer": "furlong"})
    assert strange.status_code == 409
    answered = posted(of, f"{shown.url.path}/read", {"question": "length", "answer": "mm"})
    assert 'name="question" value="length"' not in answered.text
    posted(of, f"{shown.url.path}/keep", {"called": "x", "right": "yes"})
    assert load(of.workplace.looms / "x").loom.wire_by_name["W1"].length_m == pytest.approx(1.2)


def test_what_is_wrong_is_shown_beside_its_cell_and_can_not_be_kept(of: House, tmp_path: Path) -> None:
    source = tmp_path / "source"
    shutil.copytree(LOOMS / "tail_lamp", source)
    wires = source / "wires.csv"
    wires.write_text(wires.read_text(encoding="utf-8").replace("BK/RD", "QQ"), encoding="utf-8")
    shown = brought(of, *((path.name, path.read_bytes()) for path in sorted(source.iterdir())))
    assert shown.status_code == 409
    assert 'class="here"' in shown.text
    assert "Keep this loom" not in shown.text
    assert posted(of, f"{shown.url.path}/keep", {"called": "x"}).status_code == 409
    assert list(of.workplace.looms.iterdir()) == []


def bomb() -> bytes:
    """A workbook of a few kilobytes that unpacks to 300 megabytes."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        with archive.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as part:
            for _ in range(300):
                part.write(b" " * 1_000_000)
    return packed.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "told"),
    [
        ("x.xlsx", None, "it unpacks to far more than a loom needs"),
        ("x.kbl", b'<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>', "x.kbl"),
        ("x.svg", b"<svg><script>alert(1)</script></svg>", "what kind of file this is is not known"),
        ("<script>alert(1)</script>.exe", b"MZ", "what kind of file this is is not known"),
        ("x.csv", b"\x00\x01\x02" * 100, "x.csv"),
        ("wires.csv", b"", "wires.csv"),
    ],
)
def test_hostile_files_are_refused_in_words(of: House, name: str, data: bytes | None, told: str) -> None:
    found = brought(of, (name, bomb() if data is None else data))
    assert found.status_code in (400, 409)
    assert told in found.text
    assert "<script>alert" not in found.text
    assert below(of) == []


def test_no_more_is_taken_than_so_many_bytes_and_nothing_of_strange_keys(of: House) -> None:
    assert brought(of, ("x.csv", b"0" * (FILES["/brought"] + 1))).status_code == 413
    for path in ("/brought/none/keep", "/brought/..%2f/keep"):
        assert posted(of, path, {"called": "x"}).status_code in (400, 404)


def test_a_loom_takes_no_others_place(of: House) -> None:
    shutil.copytree(LOOMS / "tail_lamp", of.workplace.looms / "lamp")
    files = [(path.name, path.read_bytes()) for path in sorted((LOOMS / "tail_lamp").iterdir())]
    shown = brought(of, *files)
    refused = posted(of, f"{shown.url.path}/keep", {"called": "lamp"})
    assert refused.status_code == 409
    assert "there is a loom called lamp already" in refused.text
    nameless = posted(of, f"{shown.url.path}/keep", {"called": "///"})
    assert "no name to be kept under" in nameless.text


def test_beside_one_loom_others_are_kept_among_the_results(tmp_path: Path) -> None:
    of = house(tmp_path / "out", LOOMS / "tail_lamp")
    shown = brought(of, ("pair.csv", LIST))
    posted(of, f"{shown.url.path}/keep", {"called": "pair", "right": "yes"})
    assert list(of.workplace.found()) == ["pair", "tail_lamp"]
    assert of.workplace.loom("pair") == tmp_path / "out" / "looms" / "pair"


STRANGE = b"alpha;beta;gamma\nA:1;B:1;RD\nA:2;B:2;BU\n"
"""Rows under headings that no list of wires has."""


@pytest.fixture
def as_served(of: House) -> House:
    return replace(of, how=on_pages(how))


def test_a_file_that_is_no_list_yet_shows_its_rows_and_has_its_columns_named(as_served: House) -> None:
    shown = brought(as_served, ("x.csv", STRANGE))
    assert shown.status_code == 409
    assert " --" not in shown.text
    assert "Read it otherwise, below" in shown.text
    for text in ("alpha", "gamma", "A:2", 'name="role"', 'name="heading row"'):
        assert text in shown.text
    assert "Keep this loom" not in shown.text
    strange = posted(as_served, f"{shown.url.path}/read", {"role": "from", "heading": "delta"})
    assert (strange.status_code, 'name="role"' in strange.text) == (409, True)
    early = posted(as_served, f"{shown.url.path}/read", {"question": "length", "answer": "mm"})
    assert early.status_code == 409
    half = posted(as_served, f"{shown.url.path}/read", {"role": "from", "heading": "alpha"})
    assert 'value="column to"' in half.text
    assert " --" not in half.text
    whole = posted(as_served, f"{shown.url.path}/read", {"question": "column to", "answer": "beta"})
    assert whole.status_code == 200
    posted(as_served, f"{shown.url.path}/keep", {"called": "x", "right": "yes"})
    assert [str(wire) for wire in load(as_served.workplace.looms / "x").loom.wire_by_name] == ["W1", "W2"]


def test_what_holds_no_rows_has_no_form(as_served: House) -> None:
    for data in (b"", b"\x00\x01\x02" * 100):
        shown = brought(as_served, ("x.csv", data))
        assert (shown.status_code, 'name="role"' in shown.text) == (409, False)
        assert " --" not in shown.text


def test_what_a_list_is_taken_for_is_answered_otherwise_on_the_page(as_served: House) -> None:
    rows = "Ader,Von,Nach,Länge\nW1,A:1,B:1,1200\nW2,A:2,B:2,800\n".encode()
    shown = brought(as_served, ("x.csv", rows))
    assert "taken as millimetres" in shown.text
    assert "length=m" in shown.text
    assert " --" not in shown.text
    refused = posted(as_served, f"{shown.url.path}/read", {"said": "length=furlong"})
    assert refused.status_code == 409
    posted(as_served, f"{shown.url.path}/read", {"said": "length=m"})
    posted(as_served, f"{shown.url.path}/keep", {"called": "x", "right": "yes"})
    assert load(as_served.workplace.looms / "x").loom.wire_by_name["W2"].length_m == pytest.approx(800.0)
