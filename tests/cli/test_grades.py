"""Grades of a pass, as a user meets them: what is demanded, what is reached, and what never passes."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.results.document import Document, Verdict
from loomproof.results.grade import Grade
from loomproof.results.measured import Decision
from tests.cli.running import loomproof

HEAD = '[loom]\nname = "{name}"\n[tables]\ncolour_code = "IEC 60757"\n'
CONNECTORS = "connector,kind,cavities,hazard\nA,plug,1-6,none\nB,plug,1-6,none\n"
SPARE = "connector,cavity,spare\nA,5,yes\nA,6,yes\nB,5,yes\nB,6,yes\n"
CIRCUITS = "circuit,purpose,need\nold,x,unused\nother,z,unused\nrun,y,needed\n"
PARTS = "component,kind,terminals,resistance_ohm,tolerance_pct\n"
TWO_UNUSED = ("old", "old", "run", "run")
WIRES = "wire,from_connector,from_cavity,to_connector,to_cavity,colour,csa_mm2,length_m,circuit\n"


def described(
    folder: Path, circuits: tuple[str, ...] = ("old", "old", "run", "run"), parts: str = ""
) -> Path:
    """Write a loom of four wires, A:1 to B:1 and so on, with spare cavities 5 and 6."""
    folder.mkdir()
    (folder / "loom.toml").write_text(HEAD.format(name=folder.name), encoding="utf-8")
    wires = "".join(
        f"W{k},A,{k},B,{k},BK,0.75,1.0,{circuit}\n" for k, circuit in enumerate(circuits, start=1)
    )
    for name, text in (
        ("connectors", CONNECTORS),
        ("cavities", SPARE),
        ("circuits", CIRCUITS),
        ("wires", WIRES + wires),
        ("components", PARTS + parts),
    ):
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def proved(loom: Path, bench: str, *words: str) -> tuple[int, Document, str]:
    out = loom.parent / f"out{len(list(loom.parent.iterdir()))}"
    done = loomproof("prove", loom, "--bench", bench, "--out", out, *words)
    [path] = out.glob("*.results.json")
    text = " ".join(done.stdout.split())
    return done.returncode, Document.model_validate_json(path.read_text(encoding="utf-8")), text


@pytest.mark.parametrize(
    ("bench", "demanded", "code", "reached"),
    [
        ("sim:", (), 0, Grade.BENCH),
        ("sim:", ("--grade", "wire"), 4, Grade.BENCH),
        ("sim:?acc=0.005:0.001", ("--grade", "wire"), 0, Grade.WIRE),
        ("sim:", ("--grade", "connections"), 0, Grade.BENCH),
        ("sim:?no-ohms", (), 0, Grade.CONNECTIONS),
        ("sim:?no-ohms", ("--grade", "bench"), 4, Grade.CONNECTIONS),
    ],
)
def test_a_demand_is_met_or_the_loom_is_undecided(
    tmp_path: Path, bench: str, demanded: tuple[str, ...], code: int, reached: Grade
) -> None:
    returned, document, text = proved(described(tmp_path / "four"), bench, *demanded)
    assert (returned, document.grade) == (code, reached)
    assert (document.verdict is Verdict.PASS) == (code == 0), "verdict and exit code never disagree"
    if code == 0:
        assert f"grade {reached}: {document.grade_text}" in text
    else:
        assert f"reaches grade {reached}" in document.reasons[0]
        assert len(document.reasons) > 1, "what would decide it"


def test_a_reading_above_its_limit_stands_in_no_pass_and_one_surely_above_it_fails(tmp_path: Path) -> None:
    """1 m of 0.75 mm² has 0.120 Ω to go by; the bench knows its readings to 0.58 Ω or to 0.12 Ω."""
    loom = described(tmp_path / "four")
    near = "sim:?acc=0.5:0.02&fault=high%200.6%20W3"
    code, document, _ = proved(loom, near)
    assert (code, document.verdict) in ((4, Verdict.UNDECIDED), (1, Verdict.FAIL))
    above = [claim for claim in document.claims if claim.beyond]
    assert above, "the best estimate is above the limit"
    sure = "sim:?acc=0.1:0.01&fault=high%200.5%20W3"
    code, document, _ = proved(loom, sure)
    assert (code, document.verdict) == (1, Verdict.FAIL)
    assert "W3" in document.findings[0].wires
    [claim] = [claim for claim in document.claims if claim.kind == "resistance" and claim.decision == "fail"]
    assert (claim.measured_ohm or 0) - (claim.uncertainty_ohm or 0) > (claim.limit_ohm or 1e9)


def test_what_is_broken_within_an_unused_circuit_is_a_note_and_no_claim(
    tmp_path: Path,
) -> None:
    for fault in ("open%20W1", "swap%20A:1%20A:2", "high%2020%20W1"):
        code, document, _ = proved(described(tmp_path / fault.replace("%", "")), f"sim:?fault={fault}")
        assert code == 0, fault
        assert document.counts.notes == 1
        assert not [claim for claim in document.claims if claim.decision is Decision.FAIL]
        assert any(text.startswith("old is unused here, not claimed: A:1") for text in document.not_tested)
        assert any(claim.subject.startswith("A:3") for claim in document.claims)


@pytest.mark.parametrize(
    "fault", ["move%20A:1%20A:5", "short%20A:1%20A:5", "short%20A:1%20A:3", "swap%20A:1%20A:3"]
)
def test_what_reaches_out_of_an_unused_circuit_is_a_fault(tmp_path: Path, fault: str) -> None:
    code, document, _ = proved(described(tmp_path / "four"), f"sim:?fault={fault}")
    assert code == 1
    assert document.counts.faults


def test_wires_of_two_unused_circuits_that_changed_places_are_a_fault(tmp_path: Path) -> None:
    loom = described(tmp_path / "two", ("old", "other", "run", "run"))
    code, document, _ = proved(loom, "sim:?fault=swap%20A:1%20A:2")
    assert (code, document.counts.faults) == (1, 1)


def test_beside_a_short_the_claims_of_isolation_say_only_what_was_read(tmp_path: Path) -> None:
    """R1 joins A:1's net to A:2's, which is shorted to A:3's: A:1's net is not apart from that of A:3."""
    loom = described(tmp_path / "beside", ("run",) * 4, "R1,resistor,1=A:1 2=A:2,10,5\n")
    code, document, _ = proved(loom, "sim:?fault=short%20A:2%20A:3")
    assert code == 1
    apart = {claim.subject: claim.decision for claim in document.claims if claim.kind == "isolation"}
    assert apart["all conductors"] is Decision.FAIL
    assert {apart["A:1"], apart["A:2"], apart["A:3"]} == {Decision.FAIL}
    assert apart["A:4"] is Decision.PASS


def test_plan_says_which_grade_is_reached_and_what_would_reach_more(tmp_path: Path) -> None:
    loom = described(tmp_path / "four")
    shown = " ".join(loomproof("plan", loom, "--bench", "sim:").stdout.split())
    assert "A sound loom reaches grade bench on this bench: 0 of 4 limits are decided" in shown
    # U = 2 a / √3 (GUM 4.3.7), and a sound reading needs 2 U of room: a = room √3 / 4.
    _, document, _ = proved(loom, "sim:")
    limit = next(claim.limit_ohm for claim in document.claims if claim.kind == "resistance")
    sound = ((limit or 0) - 0.050) / 1.25
    assert f"within ±{((limit or 0) - sound) * 3**0.5 / 4:.3f} Ω" in shown
    assert f"{limit:.3f} Ω" in shown, "the limits of a plan are those of the proof"
    fine = " ".join(loomproof("plan", loom, "--bench", "sim:?acc=0.005:0.001").stdout.split())
    assert "reaches grade wire on this bench: 4 of 4" in fine
