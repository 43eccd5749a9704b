"""What a person states for the certificate, from the options of a proof to the sealed document and back."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from loomproof.cli.prove import prove
from loomproof.jobs.workshop import Laboratory, Workshop
from loomproof.results.entered import Entered
from tests.cli.running import loomproof

OPTIONS = (
    "--serial=TL-8",
    "--customer=Quarry Motors",
    "--order=PO 4711",
    "--condition=two plugs dirty",
    "--authoriser=B. Signer",
    "--humidity=43.5",
    "--person=A. Tester",
)


def test_all_that_can_be_entered_can_be_said() -> None:
    """By an option of the proof, or in workshop.toml."""
    options = {parameter.name for parameter in prove.params}
    # The workshop's laboratory is a table of name and address, its meter a table as it is entered.
    workshop = {*Workshop.model_fields, *Laboratory.model_fields}
    assert set(Entered.model_fields) <= options | workshop


def results(out: Path) -> dict[str, Any]:
    (found,) = out.glob("*.results.json")
    plain: dict[str, Any] = json.loads(found.read_text(encoding="utf-8"))
    return plain


def journal(out: Path) -> Path:
    (found,) = (path for path in out.glob("*.journal.jsonl") if "hook-up" not in path.name)
    return found


def test_many_looms_of_one_design_have_serials_of_their_own(fixtures: Path, tmp_path: Path) -> None:
    lamp, made = fixtures / "tail_lamp", []
    for serial in ("TL-8", "TL-9"):
        out = tmp_path / serial
        done = loomproof("prove", lamp, "--bench", "sim:", "--out", out, "--serial", serial)
        assert done.returncode == 0, done.stderr
        made.append(results(out)["loom"])
    assert [loom["serial"] for loom in made] == ["TL-8", "TL-9"]
    assert made[0]["digest"] == made[1]["digest"]
    listed = loomproof("log", "TL-8").stdout
    assert "TL-8" in listed
    assert "TL-9" not in listed


def test_what_is_stated_is_kept_and_replayed(fixtures: Path, tmp_path: Path) -> None:
    lamp = fixtures / "tail_lamp"
    done = loomproof("prove", lamp, "--bench", "sim:", "--out", tmp_path, *OPTIONS)
    assert done.returncode == 0, done.stderr
    kept = results(tmp_path)
    assert kept["loom"]["serial"] == "TL-8"
    assert kept["person"] == "A. Tester"
    assert kept["method"] == "loomproof method 1"
    said = {key: kept["entered"][key] for key in ("customer", "order", "condition", "authoriser")}
    assert list(said.values()) == ["Quarry Motors", "PO 4711", "two plugs dirty", "B. Signer"]
    assert kept["entered"]["humidity_pct"] == 43.5
    again = loomproof("replay", journal(tmp_path), lamp)
    assert json.loads(again.stdout) == kept


def test_hook_ups_state_the_same(fixtures: Path, tmp_path: Path) -> None:
    lamp = fixtures / "tail_lamp"
    words = ("prove", lamp, "--bench", "sim:?points=8", "--out", tmp_path)
    stopped = loomproof(*words, "--hook-ups", "--split", "BODY", "--stop-after", "1", *OPTIONS)
    run = next(tmp_path.glob("*.hook-ups.json")).name.partition(".")[0]
    assert stopped.returncode == 3, stopped.stderr
    done = loomproof(*words, "--continue", run)
    assert done.returncode == 0, done.stderr
    kept = results(tmp_path)
    assert kept["loom"]["serial"] == "TL-8"
    assert kept["entered"]["customer"] == "Quarry Motors"
    assert json.loads(loomproof("replay", journal(tmp_path), lamp).stdout) == kept


def test_a_blank_and_an_impossible_humidity_are_refused(fixtures: Path) -> None:
    for words in (("--serial", " "), ("--humidity", "101"), ("--humidity", "nan")):
        done = loomproof("prove", fixtures / "tail_lamp", "--bench", "sim:", *words)
        assert done.returncode == 2
        assert words[0].removesuffix("=") in done.stderr


def test_notes_under_no_serial_are_told_before_the_first_proof_of_a_serial(
    fixtures: Path, tmp_path: Path
) -> None:
    """A repair noted before the serial was said is not told of it; what to do is, and it holds."""
    loom, out = fixtures / "tail_lamp", ("--out", tmp_path)
    assert loomproof("prove", loom, "--bench", "sim:?fault=open%20W2", *out).returncode == 1
    (results,) = tmp_path.glob("*.results.json")
    run = results.name.removesuffix(".results.json")
    mend = ("contact pushed home", "--finding", "1", "--person", "I. Torvald")
    assert loomproof("repaired", run, *mend).returncode == 0
    serial, warning = (
        ("--serial", "0001"),
        f"Repairs are noted for run {run} of Left tail lamp, proved without",
    )
    failed = loomproof("prove", loom, "--bench", "sim:?fault=open%20W2", *out, *serial)
    assert warning in failed.stderr
    assert f"loomproof records correct {run} --why TEXT --serial SERIAL" in failed.stderr
    correcting = ("--why", "serial", "--by", "I. Torvald", *serial)
    corrected = loomproof("records", "correct", run, *correcting).stdout.strip()
    assert loomproof("repaired", corrected, *mend).returncode == 0
    passed = loomproof("prove", loom, "--bench", "sim:", *out, *serial)
    assert passed.returncode == 0
    assert warning not in passed.stderr, "this serial has proofs of its own"
    sealed = [
        path for path in tmp_path.glob("*0001.record.json") if "contact pushed home" in path.read_text()
    ]
    assert len(sealed) == 1
    other = loomproof("prove", loom, "--bench", "sim:", *out)
    assert "Repairs are noted" not in other.stderr
