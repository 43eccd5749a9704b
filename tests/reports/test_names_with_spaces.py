"""A cavity stays a value from the description to the last line, and every command reads its one text back."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.loom.ends import End
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from loomproof.reports.certificate import certificate_view
from loomproof.results.document import Coverage, Document
from tests.reports.sample import document
from tests.reports.test_certificate import sealed

pytestmark = pytest.mark.usefixtures("simulated_within")

ODD = (End("REAR LAMP", "2"), End("A:B", "1 a"), End('5" dial', "01"), End("ECU", ""), End("x", "1:2"))


@pytest.mark.parametrize("end", ODD, ids=str)
def test_an_end_is_one_text_on_file_and_the_same_value_again(end: End) -> None:
    made = document(findings=1)
    shown = replace(made.findings[0], cavities=(end,))
    claim = made.claims[0].model_copy(update={"cavities": (end, end)})
    whole = made.model_copy(
        update={"findings": (shown,), "claims": (claim,), "coverage": Coverage(tested=(end,))}
    )
    plain = json.loads(json.dumps(whole.plain()))
    assert plain["findings"][0]["cavities"] == plain["coverage"]["tested"] == [str(end)]
    again = Document.model_validate(plain)
    assert again.findings[0].cavities == again.coverage.tested == (end,)
    assert again == whole


@pytest.mark.parametrize("flaw", [["ECU", "1"], 12, "ECU:1 ECU:2", "", 'ECU:"1'])
def test_what_is_no_place_is_no_document(flaw: object) -> None:
    plain = document().plain() | {"coverage": {"tested": [flaw]}}
    with pytest.raises(ValueError, match="coverage"):
        Document.model_validate(plain)


def test_a_connector_with_a_blank_in_its_name_is_shown_marked_and_answered(
    fixtures: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    loom = load(fixtures / "tail_lamp").loom
    named = {c.name: "REAR LAMP" if c.name == "LAMP" else c.name for c in loom.connectors}

    def moved(end: End) -> End:
        return End(named[end.connector], end.cavity)

    renamed = replace(
        loom,
        connectors=tuple(replace(c, name=named[c.name]) for c in loom.connectors),
        wires=tuple(replace(w, a=moved(w.a), b=moved(w.b)) for w in loom.wires),
        cavity_facts=tuple(replace(f, end=moved(f.end)) for f in loom.cavity_facts),
    )
    write_folder(renamed, tmp_path / "loom")
    words = ["prove", str(tmp_path / "loom"), "--bench", "sim:?fault=open W2", "--out", str(tmp_path / "out")]
    assert run(words) == 1
    shown = capsys.readouterr().out
    assert "REAR LAMP, from the mating side" in shown
    assert "[2]" in shown
    (results,) = (tmp_path / "out").glob("*.results.json")
    made = Document.model_validate(json.loads(results.read_text(encoding="utf-8")))
    view = certificate_view(json.loads(sealed(made)), fingerprint="", link="", signer="")
    assert any("REAR LAMP" in str(face) and "faulty: 2" in str(face) for face in _rows(view["faces"]))
    for answer in ("REAR LAMP bad", '"REAR LAMP":2 bad', "REAR LAMP:2 bad"):
        assert run(["findings", str(results), "--saw", answer]) == 0
        assert "taken for finding 1" in " ".join(capsys.readouterr().out.split())
    assert run(["explain", str(tmp_path / "loom"), str(End("REAR LAMP", "2")), "BODY:2"]) == 0


def _rows(value: object) -> list[object]:
    assert isinstance(value, list)
    return value
