"""Rulers under the drawing of a loom: where a run found faults, to scale."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from loomproof.errors import UsageError
from loomproof.loom.writing import write_folder
from loomproof.reports import drawing_parts, drawing_svg
from loomproof.reports.drawing import INDEX, PLACES, WHOLE, drawings
from loomproof.reports.drawing_places import places
from loomproof.reports.ruler import SIDE, WIDTH
from loomproof.results.document import Document
from loomproof.screens.description import show_drawn
from tests.locating.placing_bench import placed
from tests.locating.test_placing import _loom

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def broken() -> Document:
    return placed(_loom(), "open W2 at ECU:2 0.6 m")[0].document


def test_the_place_stands_under_the_loom_to_scale(broken: Document) -> None:
    """By hand: the wire has 2 m over the ruler's width, so a metre is half of it."""
    bare, drawn = (drawings(_loom(), document)[WHOLE].decode() for document in (None, broken))
    (place,) = [finding.place for finding in broken.findings]
    assert place is not None
    (stretch,) = place.stretches
    root = ElementTree.fromstring(drawn)
    marks = [each for each in root.iter(f"{SVG}rect") if each.get("stroke") == drawing_svg.MARK]
    px_per_m = (WIDTH - 2 * SIDE) / 2.0
    (mark,) = marks
    assert float(mark.get("x") or 0) == pytest.approx(SIDE + stretch.low_m * px_per_m, abs=0.1)
    assert float(mark.get("width") or 0) == pytest.approx(
        (stretch.high_m - stretch.low_m) * px_per_m, abs=0.1
    )
    said = "".join(root.itertext())
    assert broken.findings[0].title in said
    assert broken.run in said
    # The loom's own drawing is in it as it was, above the ruler, and names of parts stand once.
    ids = [each.get("id") for each in root.iter() if each.get("id")]
    assert len(ids) == len(set(ids))
    height = float(ElementTree.fromstring(bare).get("height") or 0)
    inner = [float(each.get("y") or 0) for each in root.findall(f"{SVG}svg")]
    assert inner == [0.0, height]
    assert float(root.get("height") or 0) > height + 100


def test_a_run_without_a_place_leaves_the_drawing_as_it_is(broken: Document) -> None:
    sound = broken.model_copy(update={"findings": ()})
    assert places(sound) is None
    assert drawings(_loom(), sound) == drawings(_loom())


def test_of_a_loom_in_many_pictures_the_places_are_one_of_their_own(
    broken: Document, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(drawing_parts, "LARGEST", 1)
    files = drawings(_loom(), broken)
    assert WHOLE not in files
    ElementTree.fromstring(files[PLACES])
    assert f'href="{PLACES}"' in files[INDEX].decode()
    assert PLACES not in drawings(_loom())[INDEX].decode()


def test_a_run_of_another_description_is_refused(broken: Document, tmp_path: Path) -> None:
    write_folder(_loom(), tmp_path / "loom")
    other = broken.model_copy(update={"loom": broken.loom.model_copy(update={"digest": "0" * 64})})
    with pytest.raises(UsageError, match="another description"):
        show_drawn(tmp_path / "loom", tmp_path / "out", over=False, run=other)
