"""The insulation test from the command line: after all else passed, only where bench and loom bear it."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.loom.ends import End
from loomproof.loom.model import Component, ComponentKind, Loom
from loomproof.loom.reading import load
from tests.cli.running import loomproof
from tests.cli.test_prove import proved, results


@pytest.fixture
def loom(fixtures: Path, tmp_path: Path) -> Path:
    """The tail-lamp loom, which now bears 500 V."""
    folder = tmp_path / "loom"
    shutil.copytree(fixtures / "tail_lamp", folder)
    with (folder / "loom.toml").open("a", encoding="utf-8") as file:
        file.write("\n[defaults]\ninsulation_test_v = 500\n")
    return folder


def test_a_good_loom_passes_at_the_voltage_and_says_so(loom: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    done = proved(loom, "sim:?insulation=1000", out, "--insulation", "500")
    assert done.returncode == 0, done.stderr
    assert "no test voltage is on the loom any more" in done.stderr, "the caution says: hands off until then"
    document = results(out)
    (claim,) = [each for each in document.claims if "500 V" in each.subject]
    assert claim.decision == "pass"
    assert claim.threshold_ohm == 1e6
    # 7 conductors: ceil(log2 7) = 3 readings cover every pair.
    assert "3 readings, discharged after each" in claim.rule
    (journal,) = out.glob("*.journal.jsonl")
    text = journal.read_text(encoding="utf-8")
    assert text.count('"arm"') == text.count('"insulation",') == 3
    replayed = loomproof("replay", journal, loom)
    assert replayed.returncode == 0, replayed.stderr
    (kept,) = out.glob("*.results.json")
    assert replayed.stdout == kept.read_text(encoding="utf-8")


def test_what_breaks_down_only_at_the_voltage_is_a_fault(loom: Path, tmp_path: Path) -> None:
    bench = "sim:?insulation=1000&fault=breakdown%20200%20BODY:2%20BODY:3"
    assert proved(loom, bench, tmp_path / "low").returncode == 0, "nothing shows at a few volts"
    assert proved(loom, bench, tmp_path / "some", "--insulation", "150").returncode == 0
    done = proved(loom, bench, tmp_path / "high", "--insulation", "500")
    assert done.returncode == 1
    (finding,) = results(tmp_path / "high").findings
    assert finding.cause == "leak"
    assert set(finding.cavities) == {End("BODY", "2"), End("BODY", "3")}
    assert "at 500 V" in finding.evidence[0].text


def test_a_loom_that_fails_is_not_put_under_voltage(loom: Path, tmp_path: Path) -> None:
    done = proved(loom, "sim:?insulation=1000&fault=open%20W2", tmp_path / "out", "--insulation", "500")
    assert done.returncode == 1
    (journal,) = (tmp_path / "out").glob("*.journal.jsonl")
    assert '"arm"' not in journal.read_text(encoding="utf-8")
    assert any("Insulation at 500 V: left out" in text for text in results(tmp_path / "out").not_tested)


@pytest.mark.parametrize(
    ("bench", "volts", "said"),
    [
        ("sim:", "500", "no insulation test"),
        ("sim:?insulation=250", "500", "up to 250 V"),
        ("sim:?insulation=1000", "501", "the description allows 500 V"),
    ],
)
def test_refused_before_anything_is_driven(
    loom: Path, tmp_path: Path, bench: str, volts: str, said: str
) -> None:
    done = proved(loom, bench, tmp_path / "out", "--insulation", volts)
    assert done.returncode == 3
    assert said in done.stderr
    assert not list((tmp_path / "out").glob("*.results.json"))


def test_a_loom_whose_description_says_nothing_bears_none(fixtures: Path, tmp_path: Path) -> None:
    done = proved(fixtures / "tail_lamp", "sim:?insulation=1000", tmp_path, "--insulation", "50")
    assert done.returncode == 3
    assert "insulation_test_v" in done.stderr


def test_not_over_several_hook_ups(loom: Path, tmp_path: Path) -> None:
    done = proved(loom, "sim:?insulation=1000&points=8", tmp_path, "--insulation", "50", "--hook-ups")
    assert done.returncode == 2
    assert "not hook-up by hook-up" in done.stderr


def test_no_component_is_ever_across_the_voltage(loom: Path) -> None:
    """A capacitor couples nothing for sensing, and must not see 500 V all the same."""
    from loomproof.electrics.expectation import expect
    from loomproof.measuring.insulation_test import numbered
    from loomproof.planning.net_access import scope_of

    described: Loom = load(loom).loom
    a, b = described.wire_by_name["W2"].a, described.wire_by_name["W3"].b
    part = Component("C1", ComponentKind.CAPACITOR, (("1", a), ("2", b)), capacitance_f=1e-7)
    described = replace(described, components=(part,))
    scope = scope_of(expect(described), in_order(described.cavities).point_of)
    sets = numbered(described, scope)
    assert sum(sets) == scope.points
    assert len(sets) == len(scope.groups) - 1
    (both,) = [points for points in sets if points & scope.bit(a)]
    assert both & scope.bit(b)


@pytest.mark.parametrize("options", [(), ("--insulation", "500")])
def test_a_marked_connector_without_a_point_is_not_reached_through_its_wires(
    loom: Path, tmp_path: Path, options: tuple[str, ...]
) -> None:
    """Its wires start at plugs that do have points: current and test voltage would go on to it."""
    file = tmp_path / "adapter.csv"
    assert loomproof("adapter", "new", loom, "--to", file).returncode == 0
    leads = [line for line in file.read_text(encoding="utf-8").splitlines() if "LAMP" not in line]
    file.write_text("\n".join(leads) + "\n", encoding="utf-8")
    connectors = loom / "connectors.csv"
    text = connectors.read_text(encoding="utf-8")
    assert text.count("LP6,none") == 1
    connectors.write_text(text.replace("LP6,none", "LP6,pyrotechnic"), encoding="utf-8")
    waived = [word for cavity in range(1, 7) for word in ("--waive", f"LAMP:{cavity}")]
    out = tmp_path / "out"
    done = proved(loom, "sim:?insulation=1000", out, "--adapter", file, *waived, *options)
    assert done.returncode == 3
    assert "pyrotechnic circuits end at LAMP" in done.stderr
    assert not list(out.glob("*.journal.jsonl")), "nothing was driven"
