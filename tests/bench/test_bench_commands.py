"""The commands ``adapter`` and ``bench``, and what ``prove`` takes from them, on simulated benches."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.judgement.inspection import ITEMS
from loomproof.screens.terminal_operator import TerminalOperator

ADAPTERS = (Path(__file__).parents[2] / "docs" / "howto" / "adapters.md").read_text(encoding="utf-8")
TAIL = str(Path(__file__).parents[2] / "fixtures" / "tail_lamp")


@pytest.fixture(autouse=True)
def own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, simulated_within: None) -> None:
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "home"))


def loom_of(folder: Path, cavities: int, wires: list[tuple[int, int]], hazard: str = "none") -> str:
    """Write a loom of one connector: what an adapter's end looks like with a plug of ours in it."""
    folder.mkdir()
    (folder / "loom.toml").write_text('[loom]\nname = "plug"\n', encoding="utf-8")
    (folder / "connectors.csv").write_text(
        f"connector,kind,cavities,housing,hazard\nC1,plug,1-{cavities},H,{hazard}\n", encoding="utf-8"
    )
    rows = [f"W{i},C1,{a},C1,{b},RD,0.5,0.01" for i, (a, b) in enumerate(wires, start=1)]
    head = "wire,from_connector,from_cavity,to_connector,to_cavity,colour,csa_mm2,length_m"
    (folder / "wires.csv").write_text("\n".join([head, *rows, ""]), encoding="utf-8")
    shared = "C1,1,yes\n" if len(wires) > 1 else ""
    (folder / "cavities.csv").write_text("connector,cavity,shared\n" + shared, encoding="utf-8")
    (folder / "components.csv").write_text("component,kind,terminals\n", encoding="utf-8")
    (folder / "circuits.csv").write_text("circuit,purpose\n", encoding="utf-8")
    return str(folder)


def test_an_adapter_is_made_and_checked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = tmp_path / "a.csv"
    assert run(["adapter", "new", TAIL, "--to", str(table), "--connector", "BODY"]) == 0
    assert run(["adapter", "check", str(table), TAIL]) == 0
    out = capsys.readouterr().out
    assert "6 leads, 7 cavities without a point" in out
    assert run(["adapter", "new", TAIL, "--to", str(table)]) == 2  # it is there already
    table.write_text("point,connector,cavity\n99,NOSUCH,1\n", encoding="utf-8")
    assert run(["adapter", "check", str(table), TAIL, "--bench", "sim:?points=16"]) == 2
    out = capsys.readouterr().out
    assert "16 points" in out
    assert "NOSUCH" in out


def test_an_adapter_of_another_loom_is_told_in_a_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "a.csv"
    assert run(["adapter", "new", str(Path(TAIL).parent / "hillclimb_engine"), "--to", str(table)]) == 0
    capsys.readouterr()
    assert run(["adapter", "check", str(table), TAIL]) == 2
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 2
    assert "leads fits this loom" in lines[0]
    assert run(["adapter", "check", str(table), TAIL, "--all"]) == 2
    every = capsys.readouterr().out
    assert len(every.splitlines()) > 20
    assert "There is BODY" not in every  # E-BODY is no slip for BODY
    assert run(["prove", TAIL, "--bench", "sim:", "--adapter", str(table), "--out", str(tmp_path)]) == 2
    assert "adapter check TABLE LOOM --all" in capsys.readouterr().err


def test_leads_are_zeroed_into_the_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plug = loom_of(tmp_path / "plug", 4, [(1, 2), (1, 3), (1, 4)])
    table = tmp_path / "a.csv"
    assert run(["adapter", "new", plug, "--to", str(table)]) == 0
    zero = ["bench", "zero", "--bench", "sim:", "--loom", plug, "--adapter", str(table)]
    assert run(zero) == 0
    assert "4 leads" in capsys.readouterr().out
    rows = table.read_text(encoding="utf-8").splitlines()[1:]
    assert all(row.split(",")[5] for row in rows)  # a date in every row
    assert run([*zero[:3], "sim:?fault=open%20W3", *zero[4:]]) == 2
    assert "open with the shorting plug on: point 4 (C1:4)" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "cure"),
    [("NOPE", "Connectors: BODY, LAMP, EARTH."), ("lamp", "There is LAMP."), ("BODI", "There is BODY.")],
)
def test_a_connector_that_is_not_there(
    name: str, cure: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = str(tmp_path / "a.csv")
    assert run(["adapter", "new", TAIL, "--to", table, "--connector", name]) == 2
    assert cure in capsys.readouterr().err
    assert run(["adapter", "new", TAIL, "--to", table]) == 0
    assert run(["bench", "zero", "--bench", "sim:", "--adapter", table, "--connector", name]) == 2
    told = capsys.readouterr().err
    assert f"{name}: the adapter a.csv has no connector of that name" in told
    assert cure in told
    assert run(["bench", "zero", "--bench", "sim:", "--adapter", table, "--connector", "EARTH"]) == 2
    assert "1 and 5 were asked for" in capsys.readouterr().err


def test_self_tests_reach_the_proof(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bare = loom_of(tmp_path / "bare", 6, [])
    plug = loom_of(tmp_path / "plug", 4, [(1, 2), (1, 3), (1, 4)])
    table = tmp_path / "a.csv"
    prove = ["prove", TAIL, "--bench", "sim:", "--out", str(tmp_path), "--json", str(tmp_path / "r.json")]
    aged = [*prove, "--selftest-max-age", "7"]
    assert run(aged) == 3  # there was none
    assert run(["adapter", "new", plug, "--to", str(table)]) == 0
    shorted = ["bench", "selftest", "--bench", "sim:", "--loom", plug, "--adapter", str(table), "--shorted"]
    assert run(shorted) == 0
    assert run(["bench", "selftest", "--bench", "sim:", "--loom", bare]) == 0
    assert run(aged) == 0
    document = json.loads((tmp_path / "r.json").read_text(encoding="utf-8"))
    assert document["bench"]["last_selftest"]
    assert run(["bench", "selftest", "--bench", "sim:", "--loom", plug]) == 3  # points are joined
    assert run(aged) == 3
    assert "failed its self-test" in capsys.readouterr().err
    assert run(shorted) == 0
    assert run(aged) == 3, "another hook-up's pass does not wipe it out"
    assert run(prove) == 0, "the next simulator is a new one"
    document = json.loads((tmp_path / "r.json").read_text(encoding="utf-8"))
    assert document["bench"]["selftest_failures"] == document["bench"]["last_selftest"] == ""
    assert run(["bench", "selftest", "--bench", "sim:", "--loom", bare]) == 0
    assert run([*aged, "--selftest-max-age", "1e300"]) == 0
    document = json.loads((tmp_path / "r.json").read_text(encoding="utf-8"))
    assert document["bench"]["selftest_failures"] == ""


def documented_lines() -> list[str]:
    """Return the documented commands on adapters and the bench itself, as a newcomer would try them."""
    (block,) = re.findall(r"## Adapters and the bench itself\n\n```console\n(.*?)```", ADAPTERS, re.DOTALL)
    lines = [line.partition("#")[0].strip() for line in block.splitlines()]
    return [line.replace("ADDRESS", "sim:").replace("LOOM", "fixtures/tail_lamp") for line in lines if line]


def test_the_documented_examples_work_as_they_stand(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "fixtures").symlink_to(Path(TAIL).parent)
    monkeypatch.chdir(tmp_path)
    lines = documented_lines()
    assert sum("bench selftest" in line for line in lines) == 3
    for line in lines:
        program, *words = shlex.split(line)
        assert program == "loomproof"
        # One is asked at the terminal; of a bench with so few readings nothing can be told.
        asks = words[:2] in (["adapter", "touch"], ["adapter", "build"])
        assert run(words) == (2 if asks else 4 if words == ["bench", "health"] else 0), line


def test_touching_on_a_simulated_bench_is_told_how(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["adapter", "touch", TAIL, "--bench", "sim:", "--to", "new.csv"]) == 2
    assert "Run loomproof simulate LOOM" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("address", "more", "says"),
    [
        ("sim:?points=16&fault=short%20POINT:1%20POINT:2", [], "FAILED  clear of each other: point 1 to 2"),
        ("sim:?fault=open%20W3", ["--shorted"], "FAILED  shorting plug: point 3"),
        ("sim:?fault=value%20110%20R1", ["--resistor", "1,2,100"], "FAILED  reference resistors: 100 ohm"),
    ],
)
def test_a_simulated_self_test_can_fail(
    address: str, more: list[str], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = str(tmp_path / "a.csv")
    if more == ["--shorted"]:
        assert run(["adapter", "new", TAIL, "--to", table]) == 0
        more = ["--adapter", table, *more]
    assert run(["bench", "selftest", "--bench", address, *more]) == 3
    assert says in capsys.readouterr().out


def test_a_reference_at_a_point_that_is_not_there(capsys: pytest.CaptureFixture[str]) -> None:
    for address, said, names in (
        ("sim:?points=16", "1,40,100", "nothing is at point 40"),
        ("sim:", "1,2,inf", "as 1,2,100"),
        ("sim:", "1,2,nan", "as 1,2,100"),
    ):
        assert run(["bench", "selftest", "--bench", address, "--resistor", said]) == 2
        assert names in capsys.readouterr().err


def test_hazards_are_answered_on_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    loom = loom_of(tmp_path / "open", 2, [(1, 2)], hazard="")
    prove = ["prove", loom, "--bench", "sim:", "--out", str(tmp_path)]
    assert run([*prove, "--hazard", "C1=none"]) == 0
    assert run([*prove, "--hazard", "C1=pyrotechnic"]) == 3
    assert "never put on a bench" in capsys.readouterr().err
    assert run([*prove, "--hazard", "C9=none"]) == 2
    assert run([*prove, "--hazard", "C1=perhaps"]) == 2


def test_the_look_at_a_real_loom_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    said = iter(["taped at C1", "", "", "", "", ""])
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("click.prompt", lambda *_, **__: next(said))
    lines = TerminalOperator().inspect(ITEMS).lines
    assert lines[0] == "chafing: taped at C1"
    assert lines[1] == "corrosion: in order"
    assert len(lines) == 6
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    assert TerminalOperator().inspect(ITEMS).lines == ()


def test_zeroing_a_simulated_bench_twice_learns_the_same_twice(tmp_path: Path) -> None:
    table = tmp_path / "a.csv"
    assert run(["adapter", "new", TAIL, "--to", str(table)]) == 0
    learned = []
    for _ in range(3):
        assert run(["bench", "zero", "--bench", "sim:", "--adapter", str(table)]) == 0
        learned.append(
            [float(row.split(",")[3]) for row in table.read_text(encoding="utf-8").splitlines()[1:]]
        )
    assert learned[0] == learned[1] == learned[2]
