"""``loomproof match`` as a person types it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.electrics.nets import nets_of
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from loomproof.matching.match import match
from tests.matching.test_match import KNOWN, TRACED

FIXTURES = Path(__file__).parents[2] / "fixtures"
Captured = pytest.CaptureFixture[str]


@pytest.fixture
def folders(tmp_path: Path) -> tuple[str, str]:
    write_folder(TRACED, tmp_path / "traced")
    write_folder(KNOWN, tmp_path / "known")
    return str(tmp_path / "traced"), str(tmp_path / "known")


def test_it_says_what_is_sure_and_what_to_touch(folders: tuple[str, str], capsys: Captured) -> None:
    assert run(["match", *folders]) == 0
    out = capsys.readouterr().out
    assert "3 connectors of 5 sure; of what known joins, 100% was found so." in out
    assert "Touch next: hold the probe on INJ" in out
    assert "only a touch or a look tells" in out


def test_it_lists_which_cavity_is_which_where_it_is_asked(folders: tuple[str, str], capsys: Captured) -> None:
    assert run(["match", *folders]) == 0
    assert "--cavities lists them" in capsys.readouterr().out
    assert run(["match", *folders, "--cavities"]) == 0
    out = capsys.readouterr().out
    assert "--cavities lists them" not in out
    laid = match(TRACED, KNOWN)
    rows = [line.split() for line in out.splitlines()]
    for each in laid.cavities:
        said = [row for row in rows if row[:2] == [str(each.traced), str(each.known)]]
        assert len(said) == 1
        assert ("one of several" in " ".join(said[0])) != each.sure


def test_two_crossed_cavities_are_told_though_every_net_is_there(tmp_path: Path, capsys: Captured) -> None:
    """Two signals exchanged at the computer: the same nets in the same plugs, under the other names."""
    engine = load(FIXTURES / "hillclimb_engine").loom
    traced = _traced(engine)
    plug = next(c.name for c in traced.connectors if len(c.cavities) > 20)
    used = [end for wire in traced.wires for end in wire.ends if end.connector == plug]
    alone = [
        end
        for end in used
        if len(traced.wires_at[end]) == 1 and all(e.cavity for e in traced.wires_at[end][0].ends)
    ]
    one, other = alone[0], alone[-1]
    swap = {one: other, other: one}
    crossed = tuple(replace(w, a=swap.get(w.a, w.a), b=swap.get(w.b, w.b)) for w in traced.wires)
    write_folder(engine, tmp_path / "known")
    for name, wires in (("right", traced.wires), ("crossed", crossed)):
        write_folder(replace(traced, wires=wires), tmp_path / name)
        assert run(["match", str(tmp_path / name), str(tmp_path / "known")]) == 0
        out = " ".join(capsys.readouterr().out.split())
        assert ("crossed:" in out) == (name == "crossed"), out
    assert f"{one} carries the net of" in out
    assert f"{other} carries the net of" in out


def test_nothing_is_taken_over_but_what_is_accepted(
    folders: tuple[str, str], tmp_path: Path, capsys: Captured
) -> None:
    target = tmp_path / "new"
    said = ["--touched", "a:1 INJ2:2", "--take", "sure", "--to", str(target)]
    assert run(["match", *folders, *said]) == 0
    loom = load(target).loom
    assert {c.name for c in loom.connectors if c.cavities} == {"ECU", "MAP", "BULK", "INJ1", "INJ2"}
    assert run(["check", str(target)]) == 0
    assert run(["match", *folders, *said]) == 2
    assert "exists already" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (["--take", "sure"], "Give --take and --to together"),
        (["--to", "new"], "Give --take and --to together"),
        (["--touched", "a:1"], "two cavities are expected"),
        (["--touched", "a:1 INJ9:1"], "there is no end INJ9:1"),
        (["--take", "q", "--to", "new"], "there is no connector q"),
    ],
)
def test_what_cannot_be_meant_is_refused(
    folders: tuple[str, str],
    said: list[str],
    told: str,
    capsys: Captured,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["match", *folders, *said]) == 2
    assert told in capsys.readouterr().err
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("taken", [["sure"], ["P3"], ["P15", "P16"]])
def test_what_is_written_of_the_demo_engine_holds_together(
    taken: list[str], tmp_path: Path, capsys: Captured
) -> None:
    engine = load(FIXTURES / "hillclimb_engine").loom
    known = tmp_path / "known"
    write_folder(engine, known)
    write_folder(_traced(engine), tmp_path / "traced")
    target = tmp_path / "new"
    words = [word for name in taken for word in ("--take", name)]
    assert run(["match", str(tmp_path / "traced"), str(known), *words, "--to", str(target)]) == 0
    assert run(["check", str(target)]) == 0, capsys.readouterr().err
    named = {c.name for c in load(target).loom.connectors} & set(engine.by_name)
    assert len(named) == len(taken) if taken != ["sure"] else len(named) > 20
    assert run(["match", str(tmp_path / "traced"), str(known), *words, "--to", str(known), "--over"]) == 2
    assert "is what is matched" in capsys.readouterr().err


def _traced(engine: Loom) -> Loom:
    """The engine as a bench traces it: plugs numbered, cavities as moulded, no parts, W1 and on."""
    plugs = [c for c in engine.connectors if c.kind is not ConnectorKind.SPLICE]
    new = {c.name: f"P{k}" for k, c in enumerate(plugs, 1)}
    connectors = [
        Connector(new[c.name], ConnectorKind.PLUG, (c.cavities,), hazard=Hazard.NONE) for c in plugs
    ]
    wires: list[Wire] = []
    for net in nets_of(engine):
        ends = [End(new[end.connector], end.cavity) for end in net.cavities]
        if len(ends) == 2:
            wires.append(Wire(f"W{len(wires) + 1}", ends[0], ends[1], note="0.1 ohm measured"))
        elif len(ends) > 2:
            splice = Connector(f"S{len(connectors)}", ConnectorKind.SPLICE)
            connectors.append(splice)
            wires += [Wire(f"W{len(wires) + 1 + k}", end, End(splice.name)) for k, end in enumerate(ends)]
    return Loom("traced", connectors=tuple(connectors), wires=tuple(wires))
