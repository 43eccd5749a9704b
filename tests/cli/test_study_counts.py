"""A study of operators that is kept for a bench widens each uncertainty of a proof there, and is named."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from loomproof.cli.main import run
from loomproof.jobs.gate import selftests
from loomproof.measuring.selftests_kept import OperatorStudy, SelfTest, keep, kept, standing
from tests.test_clearance import Counting

FIXTURE = Path(__file__).parents[2] / "fixtures" / "tail_lamp"
BENCH = "loomproof simulated scanner SIM000000"
STUDY = "study of 2031-05-02: 2 operators, 2 parts, 2 repeats"
Output = pytest.CaptureFixture[str]


def table(path: Path, bench: str = BENCH, date: str = "2031-05-02T09:00:00Z") -> Path:
    """Two operators of whom the second reads 40 mΩ more, whatever the part; each repeat ± 1 mΩ."""
    rows = [
        f"{who},{part},{ohm + more + step},{date},{bench}"
        for who, more in (("Ada", 0.0), ("Ben", 0.04))
        for part, ohm in (("p", 0.5), ("q", 1.0))
        for step in (-0.001, 0.001)
    ]
    path.write_text("\n".join(["operator,part,ohm,date,bench", *rows]), encoding="utf-8")
    return path


ADDED_OHM = 0.04 / 2**0.5
"""By hand: the operators' mean square, 4 × (0.02² + 0.02²) / 1, over the 4 readings of each; none mixed."""


def proved(out: Path, loom: Path = FIXTURE) -> dict[str, Any]:
    words = ("--bench", "sim:", "--selftest-max-age", "100", "--grade", "connections", "--out", str(out))
    assert run(["prove", str(loom), *words, "--json", str(out.with_suffix(".json"))]) == 0
    found: dict[str, Any] = json.loads(out.with_suffix(".json").read_text(encoding="utf-8"))
    return found


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with a proof of before the study was kept and one of after: ``a`` and ``b``."""
    place = tmp_path_factory.mktemp("study")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LOOMPROOF_HOME", str(place / "home"))
        assert run(["bench", "selftest", "--bench", "sim:"]) == 0
        proved(place / "a")
        assert run(["bench", "study", str(table(place / "study.csv")), "--keep"]) == 0
        proved(place / "b")
        yield place


def document(path: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    return found


def joints(document: dict[str, Any]) -> list[tuple[float, float]]:
    claims = document["claims"]
    return [(c["measured_ohm"], c["uncertainty_ohm"]) for c in claims if c["kind"] == "resistance"]


@pytest.mark.parametrize(("name", "added_ohm"), [("a", 0.0), ("b", ADDED_OHM)])
def test_the_uncertainty_of_each_joint_is_the_one_worked_out_by_hand(
    place: Path, name: str, added_ohm: float
) -> None:
    """JCGM 100, 4.3.7 and 5.1.2: ±(0.1 Ω + 1 %) a rectangle, copper ± 2 K (IEC 60028), the study; k = 2."""
    found = joints(document(place / name))
    assert len(found) == 6
    for ohm, u_ohm in found:
        meter_ohm, copper_ohm = (0.1 + 0.01 * ohm) / 3**0.5, 0.00393 * 2.0 * ohm
        assert u_ohm == pytest.approx(2 * (meter_ohm**2 + copper_ohm**2 + added_ohm**2) ** 0.5, rel=1e-6)


def test_isolation_is_as_it_was(place: Path) -> None:
    """Megohms are decided as before: what a plug adds to milliohms is nothing there."""
    before, after = (
        [c["uncertainty_ohm"] for c in document(place / name)["claims"] if c["kind"] == "isolation"]
        for name in "ab"
    )
    assert before == after != []


def test_the_document_and_the_certificate_say_where_it_comes_from(place: Path) -> None:
    before, after = (document(place / name)["bench"] for name in "ab")
    assert {name for name in before if name.startswith("reproducibility")} == set(), "as it always was"
    assert after["reproducibility_ohm"] == pytest.approx(ADDED_OHM)
    assert after["reproducibility_study"] == STUDY
    from pypdf import PdfReader

    (pdf,) = (place / "b").glob("*.pdf")
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(pdf).pages).split())
    assert "for a change of the person who plugs is in each of them, by a " + STUDY in text


@pytest.mark.parametrize("name", ["a", "b"])
def test_a_journal_is_worked_out_again_to_the_same_bytes(place: Path, name: str, tmp_path: Path) -> None:
    """Also where no study is kept any more, or another one: the header has what counted then."""
    (journal,) = (place / name).glob("*.journal.jsonl")
    header = json.loads(journal.read_text(encoding="utf-8").splitlines()[0])
    assert ("reproducibility_ohm" in json.dumps(header)) == (name == "b")
    again = tmp_path / "again.json"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LOOMPROOF_HOME", str(tmp_path / "home"))
        assert (
            run(["replay", str(journal), str(FIXTURE), "--grade", "connections", "--json", str(again)]) == 0
        )
    assert again.read_bytes() == (place / f"{name}.json").read_bytes()


def test_a_study_is_of_its_bench_and_the_newest_counts(tmp_path: Path) -> None:
    path, who = tmp_path / "selftests.jsonl", Counting().identify()
    named = " ".join(filter(None, (who.maker, who.model, who.serial)))

    def study(day: int, ohm: float, bench: str = named) -> None:
        date = f"2031-05-{day:02d}T09:00:00Z"
        keep(SelfTest("", bench, "", date, "", (), study=OperatorStudy(3, 10, 3, ohm)), path)

    study(1, 0.5, "another bench")
    assert standing(path, who) is None
    study(3, 0.02)
    study(2, 0.3)
    found = standing(path, who, "any adapter")
    assert found is not None
    assert (found.reproducibility_ohm, found.study[:19]) == (0.02, "study of 2031-05-03")
    assert (found.date, found.failed) == ("", ()), "a study tests no bench"
    study(4, 0.0)
    found = standing(path, who)
    assert found is not None
    assert (found.reproducibility_ohm, found.study) == (0.0, ""), "one that shows nothing takes it back"


def test_what_was_not_read_at_a_bench_is_not_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Output
) -> None:
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "home"))
    for more, said in (
        ({"bench": ""}, "does not say of each reading"),
        ({"date": ""}, "does not say of each reading"),
        ({"date": "yesterday"}, "can't be kept"),
    ):
        assert run(["bench", "study", str(table(tmp_path / "x.csv", **more)), "--keep"]) == 2
        assert said in capsys.readouterr().err
    assert list(kept(selftests())) == []


def test_a_study_alone_is_no_self_test(place: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "home"))
    shutil.copy(place / "study.csv", tmp_path / "study.csv")
    assert run(["bench", "study", str(tmp_path / "study.csv"), "--keep"]) == 0
    words = ["--bench", "sim:", "--out", str(tmp_path / "out")]
    assert run(["prove", str(FIXTURE), *words, "--selftest-max-age", "100"]) == 3
