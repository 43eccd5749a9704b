"""Records sealed with grades (results documents of schema 2) verify, open, replay and are drawn.

Three runs of version 0.1.0 on its simulator: a tail lamp loom that passes, the same with a broken wire, and
the engine loom in four hook-ups; with them the looms as they were described. Their bytes stay as they are:
what was sealed once must be readable for good, and its journal must give it again.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from loomproof.errors import SealError
from loomproof.jobs.replay import replay
from loomproof.loom.reading import load
from loomproof.records.canonical import canonical, sha256_hex
from loomproof.records.verify_file import check, check_file
from loomproof.reports.certificate import certificate_pdf, certificate_view
from loomproof.reports.exports import junit_xml
from loomproof.reports.label import label_pdf
from loomproof.reports.wires import wire_texts
from loomproof.results.document import Document
from tests.cli.running import loomproof

SEALED = Path(__file__).with_name("with_grades")
LOOMS = {"pass": "tail_lamp", "fail": "tail_lamp", "hook": "hillclimb_engine"}
VERDICTS = {"pass": "pass", "fail": "fail", "hook": "pass"}
KNOWN = {"de1dc880773a6822a4a525eec7fd5016a8e73dbaef236273b036257e4847a742": "the station that sealed them"}

MAY_DIFFER = ("software", "not_tested")
"""What a later version may write otherwise when it works the same journal out again, each with its reason.

``software``: it names the version that wrote the document. ``not_tested``: a later version may name more that
a proof does not show; what was named then is named still, which a test of its own holds.
A verdict, a claim, a limit, a reading, an
uncertainty or the cause of a finding never stands here: with one of those changed, what was sealed as proved
would not be what its own journal shows.
"""

ADVICE = ("repair", "tell_apart")
"""Words of findings that say what to do: a later version may say it better. What was found never changes."""


def sealed(run: str) -> dict[str, Any]:
    plain = json.loads((SEALED / f"{run}.record.json").read_text(encoding="utf-8"))
    return dict(plain["body"]["document"])


@pytest.mark.parametrize("name", [*(f"{run}.record.json" for run in LOOMS), "pass.pdf"])
def test_it_verifies_and_opens(name: str) -> None:
    verified = check_file(SEALED / name, KNOWN)
    assert verified.standing == "genuine"
    document = verified.document()
    assert document.plain()["schema"] == 2
    assert document.verdict == VERDICTS[name.split(".")[0]]
    assert (document.grade == "bench") == (document.verdict == "pass")


@pytest.mark.parametrize("run", LOOMS)
def test_one_changed_sign_is_seen(run: str) -> None:
    data = (SEALED / f"{run}.record.json").read_bytes()
    with pytest.raises(SealError, match="does not match its hash"):
        check(data.replace(b"I. Torvald", b"J. Torvald"), KNOWN)


@pytest.mark.parametrize("run", LOOMS)
def test_its_journal_gives_the_same_document_but_for_words_of_advice(run: str) -> None:
    journal = SEALED / f"{run}.journal.jsonl"
    then = sealed(run)
    assert then["journal_digest"] == sha256_hex(journal.read_bytes())
    document = replay(journal, load(SEALED / LOOMS[run]).loom).document
    again = document.plain()
    coverage: Any = again["coverage"]
    fewer = set(then["coverage"]["tested"]) - set(coverage["tested"])
    assert all(end in " ".join(map(str, document.not_tested)) for end in fewer), "no more tested, and named"
    assert coverage | {"tested": then["coverage"]["tested"]} == then["coverage"]
    again["coverage"] = then["coverage"]
    again |= {key: then[key] for key in MAY_DIFFER}
    drawn: Any = again["connectors"]
    for connector in drawn:  # a cavity that holds a part alone is drawn as such since
        connector["colours"] = {cavity: told for cavity, told in connector["colours"].items() if told}
    assert canonical(without_advice(again)) == canonical(without_advice(then))


def without_advice(value: object) -> object:
    """The document without how findings say what to do: later versions may say it better."""
    if isinstance(value, dict):
        return {key: without_advice(held) for key, held in value.items() if key not in ADVICE}
    return [without_advice(held) for held in value] if isinstance(value, list) else value


@pytest.mark.parametrize("run", LOOMS)
def test_what_it_named_as_not_tested_is_named_still(run: str) -> None:
    again = replay(SEALED / f"{run}.journal.jsonl", load(SEALED / LOOMS[run]).loom).document
    assert set(sealed(run)["not_tested"]) <= set(again.not_tested)


@pytest.mark.parametrize("run", LOOMS)
def test_it_is_drawn(run: str) -> None:
    record = (SEALED / f"{run}.record.json").read_bytes()
    document = Document.model_validate(sealed(run))
    assert certificate_pdf(record, fingerprint="F", link="L", signer="S")[:5] == b"%PDF-"
    view = certificate_view(json.loads(record), fingerprint="", link="x", signer="")
    assert bool(view["grade"]) == (run != "fail")
    assert len(wire_texts(document)) == document.counts.wires
    assert label_pdf(document, "0" * 64, "F", "L")[:5] == b"%PDF-"
    assert b"<testsuite" in junit_xml([document])


@pytest.mark.parametrize("name", ["pass.record.json", "fail.record.json", "hook.record.json", "pass.pdf"])
def test_the_command_checks_and_shows_it(name: str) -> None:
    done = loomproof("verify", SEALED / name)
    assert done.returncode in (0, 4), done.stderr
    assert VERDICTS[name.split(".")[0]].upper() in done.stdout
