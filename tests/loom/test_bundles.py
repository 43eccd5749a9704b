"""The table of bundles: read, written, checked, and asked about."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.errors import DescriptionError
from loomproof.loom.bundles import Bundle
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.loom.suspicions import warnings
from loomproof.loom.writing import write_folder

FIXTURE = Path(__file__).parents[2] / "fixtures" / "tail_lamp"


def _loom(*bundles: Bundle, through: str = "trunk tail") -> Loom:
    loom = load(FIXTURE).loom
    wires = tuple(replace(wire, bundle=through, length_m=2.0) for wire in loom.wires)
    return replace(loom, wires=wires, bundles=bundles)


def test_a_folder_gives_back_its_bundles(tmp_path: Path) -> None:
    loom = _loom(Bundle("trunk", 1.5, "BODY", "fork"), Bundle("tail", None, "fork", "LAMP", "taped twice"))
    write_folder(loom, tmp_path / "loom")
    assert load(tmp_path / "loom").loom.bundles == loom.bundles
    write_folder(replace(loom, bundles=()), tmp_path / "loom", over=True)
    assert load(tmp_path / "loom").loom.bundles == ()


def test_a_loom_without_bundles_keeps_the_digest_that_it_had() -> None:
    loom = load(FIXTURE).loom
    assert replace(loom, bundles=()).digest == loom.digest
    assert replace(loom, bundles=(Bundle("trunk"),)).digest != loom.digest


def test_a_bundle_given_twice_and_a_length_of_nothing_are_named(tmp_path: Path) -> None:
    write_folder(_loom(), tmp_path)
    table = "bundle,length_m,from_place,to_place\ntrunk,1.5,BODY,fork\ntrunk,1,,\ntail,0,,\n"
    (tmp_path / "bundles.csv").write_text(table, encoding="utf-8")
    with pytest.raises(DescriptionError) as caught:
        load(tmp_path)
    said = [str(problem) for problem in caught.value.problems]
    assert len(said) == 2
    assert any("'trunk' is given twice (first in row 2)" in one for one in said)
    assert any("bundles.csv" in one and "length_m" in one and "above zero" in one for one in said)


@pytest.mark.parametrize(
    ("bundles", "said"),
    [
        ((Bundle("trunk", 1.0),), "runs through tail, which the table of bundles lacks"),
        (
            (Bundle("trunk", 1.0, "BODY", "one"), Bundle("tail", 0.5, "other", "LAMP")),
            "from bundle trunk into tail, which do not meet",
        ),
        ((Bundle("trunk", 2.0), Bundle("tail", 1.0)), "is 2 m long and its bundles together 3 m"),
    ],
)
def test_what_does_not_fit_is_asked_about(bundles: tuple[Bundle, ...], said: str) -> None:
    found = [problem.message for problem in warnings(_loom(*bundles)) if said in problem.message]
    assert len(found) == len(load(FIXTURE).loom.wires)


def test_bundles_that_fit_are_not_asked_about() -> None:
    fitting = (Bundle("trunk", 1.5, "BODY", "fork"), Bundle("tail", 0.5, "LAMP", "fork"))
    assert not [problem for problem in warnings(_loom(*fitting)) if "bundle" in problem.message]
