"""A bench that only senses and one that only measures, from the command line: plan, proof, certificate."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from loomproof.bench.seam import point_set
from loomproof.cli.main import run
from loomproof.loom.reading import load
from loomproof.results.document import Document
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.instruments import Matrix, served
from tests.bench.test_matrix_demo import PROFILE


@contextmanager
def meter(fixtures: Path, tmp_path: Path, *faults: str, most_ohm: float = 1e8) -> Iterator[str]:
    """Serve a matrix and a meter with the tail lamp's loom on it; yields the address."""
    loom = load(fixtures / "tail_lamp").loom
    on_it = Scanner(loom, Make(len(loom.cavities)), faults=faults)
    profile = tmp_path / "matrix.toml"
    profile.write_text(PROFILE.replace("1e8", f"{most_ohm:g}"), encoding="utf-8")

    def ohms(a: frozenset[int], b: frozenset[int]) -> float:
        ohm = on_it.true_resistance(point_set(a), point_set(b), 0.0)
        return ohm if ohm <= most_ohm else float("inf")

    with served(Matrix(ohms)) as resource:
        yield f"visa:{resource}?profile={profile}"


def prove(fixtures: Path, tmp_path: Path, bench: str) -> Document:
    file = tmp_path / "results.json"
    words = [
        "prove",
        str(fixtures / "tail_lamp"),
        "--bench",
        bench,
        "--out",
        str(tmp_path),
        "--json",
        str(file),
    ]
    store = ["--store", f"sqlite:///{tmp_path / 'store.db'}"]
    run([*words, *store, "--adapter", "in-order", "--made-safe", "--meter-volts", "0"])
    return Document.model_validate_json(file.read_text(encoding="utf-8"))


def plan(fixtures: Path, bench: str, capsys: pytest.CaptureFixture[str]) -> str:
    assert run(["plan", str(fixtures / "tail_lamp"), "--bench", bench]) == 0
    return " ".join(capsys.readouterr().out.split())


def test_plans_say_what_cannot_be_asked(
    fixtures: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    digital = plan(fixtures, "sim:?no-ohms", capsys)
    assert "This bench has no ohms. Not asked: resistance of wires and joints" in digital
    with meter(fixtures, tmp_path) as bench:
        measuring = plan(fixtures, bench, capsys)
    assert "This bench has no sense" in measuring
    assert "above 1.00 MΩ, 9 readings in all" in measuring
    with meter(fixtures, tmp_path, most_ohm=20e3) as bench:
        small = plan(fixtures, bench, capsys)
    assert "above 19.0 kΩ, 9 readings in all" in small


@pytest.mark.parametrize(
    ("fault", "causes"),
    [("", set()), ("open W2", {"broken_wire"}), ("short LAMP:4 LAMP:5", {"touching"})],
)
def test_a_bench_without_sense_proves_over_visa(
    fixtures: Path, tmp_path: Path, fault: str, causes: set[str]
) -> None:
    with meter(fixtures, tmp_path, *([fault] if fault else [])) as bench:
        document = prove(fixtures, tmp_path, bench)
    assert document.verdict == ("fail" if causes else "pass")
    assert {finding.cause for finding in document.findings} == causes
    assert {claim.kind for claim in document.claims} == {"resistance", "isolation"}
    assert "Steadiness: no reading was taken twice." in document.not_tested


def test_a_meter_that_does_not_reach_claims_what_it_reaches(fixtures: Path, tmp_path: Path) -> None:
    with meter(fixtures, tmp_path, most_ohm=20e3) as bench:
        document = prove(fixtures, tmp_path, bench)
    assert document.verdict == "pass"
    (isolation,) = (claim for claim in document.claims if claim.kind == "isolation")
    assert isolation.threshold_ohm == pytest.approx(19e3)
    assert any(
        "between 19.0 kΩ and 1.00 MΩ: out of this meter's range" in line for line in document.not_tested
    )
    with meter(fixtures, tmp_path, "short LAMP:4 LAMP:5", most_ohm=20e3) as bench:
        assert prove(fixtures, tmp_path, bench).verdict == "fail"


def test_a_bench_without_ohms_claims_no_ohms(fixtures: Path, tmp_path: Path) -> None:
    document = prove(fixtures, tmp_path, "sim:?no-ohms")
    assert document.verdict == "pass"
    assert {claim.kind for claim in document.claims} == {"continuity", "isolation", "stability"}
    assert all(claim.measured_ohm is None for claim in document.claims)
    assert any(line.startswith("Resistance: this bench only senses") for line in document.not_tested)
    document = prove(fixtures, tmp_path, "sim:?no-ohms&fault=leak%2010k%20BODY:1%20BODY:2")
    (finding,) = document.findings
    assert {other.cause for other in finding.alternatives} >= {"leak"}
