"""Importers of other packages, found by the entry points of what is installed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

import loomproof as lp
from loomproof.errors import DescriptionError, UsageError
from loomproof.loom.reading import load
from tests.cli.running import loomproof

IMPORTER = """
from loomproof.errors import DescriptionError, Problem
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire
from loomproof.loom.reading import LoadedLoom


def read(path):
    connectors, wires = {}, []
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        try:
            wire, a, b = line.split("-")
        except ValueError:
            problem = Problem(f"{line!r} is no wire", path.name, row=number)
            raise DescriptionError(f"{path}: it cannot be read", problems=[problem]) from None
        for name in (a, b):
            connectors[name] = Connector(name, ConnectorKind.PLUG, (("01",),))
        wires.append(Wire(wire, End(a, "01"), End(b, "01")))
    loom = Loom(path.stem, connectors=tuple(connectors.values()), wires=tuple(wires))
    return LoadedLoom(loom, (Problem("drawn by hand", path.name, severity="warning"),))


def plain(path):
    return read(path).loom


def loose(path):
    return Loom("loose", wires=(Wire("W1", End("A", "1"), End("B", "1")),))


def nothing(path):
    return None
"""


@pytest.fixture
def installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Install a package that brings importers: its files and its metadata, as an installer leaves them."""
    place = tmp_path / "site"
    place.mkdir()
    monkeypatch.syspath_prepend(place)
    monkeypatch.setenv("PYTHONPATH", str(place), prepend=":")

    def install(name: str, **endings: str) -> None:
        (place / "wiredrawing.py").write_text(IMPORTER, encoding="utf-8")
        info = place / f"{name}-2.0.dist-info"
        info.mkdir()
        (info / "METADATA").write_text(
            f"Metadata-Version: 2.1\nName: {name}\nVersion: 2.0\n", encoding="utf-8"
        )
        lines = [f"{ending} = {value}" for ending, value in endings.items()]
        (info / "entry_points.txt").write_text(
            "\n".join(["[loomproof.importers]", *lines, ""]), encoding="utf-8"
        )

    return install


@pytest.fixture
def drawing(tmp_path: Path) -> Path:
    path = tmp_path / "Boot light.WDX"
    path.write_text("007-A-B\n008-C-D\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("way", ["read", "plain"])
def test_its_files_are_looms_for_the_library(installed: Callable[..., None], drawing: Path, way: str) -> None:
    installed("wiredrawing", wdx=f"wiredrawing:{way}")
    loom = lp.load(drawing)
    assert loom.name == "Boot light"
    assert [(wire.name, wire.a) for wire in loom.wires] == [
        ("007", lp.End("A", "01")),
        ("008", lp.End("C", "01")),
    ]
    assert [problem.message for problem in lp.check(drawing)] == (["drawn by hand"] if way == "read" else [])


def test_the_command_makes_a_loom_of_them(
    installed: Callable[..., None], drawing: Path, tmp_path: Path
) -> None:
    installed("wiredrawing", wdx="wiredrawing:read")
    done = loomproof("import", drawing, "--to", tmp_path / "made", "--name", "Boot")
    assert done.returncode == 0, done.stderr
    assert "drawn by hand" in done.stderr
    assert load(tmp_path / "made").loom.wire_by_name["007"].b == lp.End("B", "01")
    assert load(tmp_path / "made").loom.name == "Boot"


def test_what_its_importer_says_is_said(installed: Callable[..., None], drawing: Path) -> None:
    installed("wiredrawing", wdx="wiredrawing:read")
    drawing.write_text("007-A-B\nnothing\n", encoding="utf-8")
    with pytest.raises(DescriptionError) as caught:
        lp.load(drawing)
    assert [problem.row for problem in caught.value.problems] == [2]


def test_a_loom_that_does_not_hold_together_is_refused(installed: Callable[..., None], drawing: Path) -> None:
    installed("wiredrawing", wdx="wiredrawing:loose")
    with pytest.raises(DescriptionError, match="holds together") as caught:
        lp.load(drawing)
    assert caught.value.problems


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("wiredrawing:nothing", "gave no loom: None"),
        ("wiredrawing:missing", "wiredrawing 2.0, cannot be loaded"),
        ("no_such_module:read", "wiredrawing 2.0, cannot be loaded"),
    ],
)
def test_an_importer_that_is_none_is_told_as_such(
    installed: Callable[..., None], drawing: Path, value: str, says: str
) -> None:
    installed("wiredrawing", wdx=value)
    with pytest.raises(UsageError, match=says) as caught:
        lp.load(drawing)
    assert caught.value.cure


def test_two_importers_of_one_ending_are_one_too_many(installed: Callable[..., None], drawing: Path) -> None:
    installed("wiredrawing", wdx="wiredrawing:read")
    installed("otherdrawing", wdx="wiredrawing:read")
    with pytest.raises(UsageError, match=r"wdx files are read by .*drawing 2\.0 and by .*drawing 2\.0"):
        lp.load(drawing)


def test_an_ending_that_nobody_reads_names_those_that_are(
    installed: Callable[..., None], drawing: Path, tmp_path: Path
) -> None:
    installed("wiredrawing", wdx="wiredrawing:read")
    other = drawing.with_suffix(".wdy")
    other.write_text("x", encoding="utf-8")
    done = loomproof("import", other, "--to", tmp_path / "made")
    assert done.returncode == 2
    assert "(.vec), .wdx" in " ".join(done.stderr.split())


def test_what_is_built_in_is_nobody_elses(
    installed: Callable[..., None], fixtures: Path, tmp_path: Path
) -> None:
    installed("wiredrawing", kbl="wiredrawing:read", xlsx="wiredrawing:read")
    (tmp_path / "a.kbl").write_text("007-A-B\n", encoding="utf-8")
    with pytest.raises(DescriptionError, match=r"a\.kbl"):
        lp.load(tmp_path / "a.kbl")
