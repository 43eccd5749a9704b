"""Records sealed by the version before grades (results documents of schema 1) verify, open and are drawn.

Three runs on its simulator: a tail lamp loom that passes, the same with a broken wire, and the engine loom in
four hook-ups. Their bytes stay as they are: what was sealed once must be readable for good.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from loomproof.records.verify_file import check_file
from loomproof.reports.certificate import certificate_view
from loomproof.reports.exports import junit_xml
from loomproof.reports.label import label_pdf
from loomproof.results.document import Document
from loomproof.results.measured import Decision
from tests.cli.running import loomproof

SEALED = Path(__file__).with_name("before_grades")
RUNS = ("pass", "fail", "hook")


@pytest.mark.parametrize("name", [*(f"{run}.record.json" for run in RUNS), "pass.pdf", "fail.pdf"])
def test_it_verifies_and_opens(name: str) -> None:
    verified = check_file(SEALED / name)
    document = verified.document()
    assert document.plain()["schema"] == 1
    assert document.verdict == ("fail" if name.startswith("fail") else "pass")
    assert document.grade is None


@pytest.mark.parametrize("run", RUNS)
def test_it_is_drawn_and_says_that_it_has_no_grade(run: str) -> None:
    plain = json.loads((SEALED / f"{run}.record.json").read_text(encoding="utf-8"))
    view = certificate_view(plain, fingerprint="", link="x", signer="")
    document = Document.model_validate(plain["body"]["document"])
    wanted = (
        ""
        if run == "fail"
        else "no grade stated: proved when limits were moved to what the bench could decide"
    )
    assert view["grade"] == wanted
    assert view["wires"] == [], "wires were not named then"
    measured = [claim for claim in document.claims if claim.kind == "resistance"]
    moved = [
        c for c in measured if c.physical_limit_ohm and c.limit_ohm and c.limit_ohm > c.physical_limit_ohm
    ]
    assert moved, "the old rule moved limits"
    assert view["by-ohms"]
    assert label_pdf(document, "0" * 64, "F", "L")[:5] == b"%PDF-"
    assert b"no grade stated" in junit_xml([document]) or run == "fail"


def test_a_pass_of_then_may_hold_what_a_pass_of_now_may_not() -> None:
    """An old document is read as it is; the same with the number of now is refused."""
    plain = json.loads((SEALED / "pass.results.json").read_text(encoding="utf-8"))
    plain["claims"][0]["decision"] = Decision.FAIL.value
    assert Document.model_validate(plain).against
    with pytest.raises(ValueError, match="a pass of grade None"):
        Document.model_validate({**plain, "schema": 2})


@pytest.mark.parametrize("name", ["pass.record.json", "pass.pdf", "hook.record.json"])
def test_the_command_checks_and_shows_it(name: str) -> None:
    done = loomproof("verify", SEALED / name)
    assert done.returncode in (0, 4), done.stderr
    assert "PASS" in done.stdout
    assert "no grade stated" in " ".join(done.stdout.split())
