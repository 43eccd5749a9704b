"""The paper of a big loom: what is alike is said once, and nothing that is claimed is missing."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.loom.ends import end_of
from loomproof.reports.certificate import certificate_view
from loomproof.reports.claims import by_threshold
from loomproof.reports.wires import LONG, longest
from loomproof.reports.words import uncertain
from loomproof.results.document import ClaimEntry, Document, Verdict
from loomproof.results.figures import ohms
from loomproof.results.measured import Decision
from tests.reports.sample import document
from tests.reports.test_certificate import certificate, sealed

CAVITIES = st.lists(st.integers(1, 400), min_size=1, max_size=3, unique=True)
DECISIONS = st.sampled_from([Decision.PASS, Decision.PASS, Decision.PASS, Decision.FAIL, Decision.UNDECIDED])


@st.composite
def net_claims(draw: st.DrawFn) -> list[ClaimEntry]:
    """Claims of nets that share no cavity, each joined or apart or both."""
    taken: set[int] = set()
    made = []
    for numbers in draw(st.lists(CAVITIES, max_size=40)):
        if taken.intersection(numbers):
            continue
        taken.update(numbers)
        ends = tuple(end_of(f"P:{n}") for n in numbers)
        for kind in ("continuity", "isolation") if len(ends) > 1 else ("isolation",):
            ohm = draw(st.sampled_from([5e3, 5e3, 9e3]))
            made.append(
                ClaimEntry(
                    kind=kind,
                    subject=str(ends[0]),
                    statement=f"{kind} {ohm}",
                    decision=draw(DECISIONS),
                    rule=f"by {kind}",
                    cavities=ends,
                    threshold_ohm=ohm,
                )
            )
    return made


@given(net_claims())
def test_every_net_stands_once_with_all_that_is_claimed_of_it(claims: list[ClaimEntry]) -> None:
    marks = {"by continuity": "R1", "by isolation": "R2"}
    alike, rows = by_threshold(claims, marks)
    told = {net: of.said for of in alike for net in of.nets}
    for row in rows:
        names = row[0].removeprefix("each by itself: ")
        for net in names.split(", ") if not row[1] else [names]:
            assert net not in told
            told[net] = " ".join(row[1:])
    nets = {", ".join(map(str, claim.cavities)) for claim in claims}
    assert told.keys() == nets
    for claim in claims:
        said = told[", ".join(map(str, claim.cavities))]
        assert claim.statement in said
        assert marks[claim.rule] in said
        if claim.decision is Decision.FAIL:
            assert "holds" not in said
    assert all("holds" in of.said for of in alike), "what fails is never said of many"
    assert sum(len(of.nets) for of in alike) + len(rows) >= len(alike)


def big(wires: int) -> Document:
    """A pass whose readings go from end to end of one wire, but for every tenth, read with the next."""
    made = document(wires=wires, verdict=Verdict.PASS)
    claims = []
    for claim in made.claims:
        if claim.kind == "resistance":
            a, b = claim.cavities
            number = int(claim.wires[0][1:])
            both = (claim.wires[0], f"W{number % wires + 1}") if number % 10 == 0 else claim.wires
            claim = claim.model_copy(update={"subject": f"{b} to {a}", "wires": both})
        elif claim.kind == "continuity":
            claim = claim.model_copy(update={"statement": "2 cavities are joined"})
        claims.append(claim)
    return made.model_copy(update={"claims": tuple(claims)})


def test_each_reading_of_a_long_list_stands_once_with_all_its_figures() -> None:
    made = big(LONG + 100)
    view = certificate_view(json.loads(sealed(made)), fingerprint="", link="", signer="")
    by_ohms = {row[0]: row[1:] for row in cast(list[list[str]], view["by-ohms"])}
    wires = {row[0]: row for row in cast(list[list[str]], view["wires"])}
    readings = [claim for claim in made.claims if claim.kind == "resistance"]
    for claim in readings:
        number = int(claim.wires[0][1:])
        row = wires[claim.wires[0]]
        apart = claim.subject not in by_ohms
        assert apart == (len(claim.wires) == 1 and (number - 1) % 10 != 0), (
            "read alone, and nothing else of it"
        )
        if apart:
            assert claim.bound_ohm is not None
            figures = ["0.062 Ω", uncertain(claim.measured_ohm, 0.11), "0.350 Ω", ohms(claim.bound_ohm)]
            assert row[3:8] == ["end to end", *figures]
            assert row[9] == "holds"
    told = re.match(r"(\d+) claims are of one wire each, .* rule: R3\.$", str(view["by-wire"]))
    assert told is not None
    assert int(told[1]) + len(by_ohms) == len(readings)
    short = certificate_view(json.loads(sealed(big(40))), fingerprint="", link="", signer="")
    assert short["by-wire"] == ""
    assert len(cast(list[object], short["by-ohms"])) == 40


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")
def test_a_long_list_on_paper_has_every_wire_and_its_heads_on_each_page(tmp_path: Path) -> None:
    made = big(LONG + 1)
    texts = certificate(made, tmp_path)
    whole = "\n".join(texts)
    rows = dict(re.findall(r"^ *(W\d+) (.* holds)$", whole, re.MULTILINE))
    for claim in made.claims:
        if claim.kind == "resistance":
            assert uncertain(claim.measured_ohm, 0.11) in rows[claim.wires[0]] or len(claim.wires) > 1
        if claim.kind == "continuity":
            assert ", ".join(map(str, claim.cavities)) in whole
    pages = [text for text in texts if len(re.findall(r"^ *W\d+ .* holds$", text, re.MULTILINE)) > 1]
    assert len(pages) > 10
    assert all(re.search("Wire .*Sound is .*Decision", text) for text in pages)


def test_the_longest_texts_of_columns() -> None:
    rows = [["a" * n, "Ω"] for n in range(1, 101)]
    assert [len(text) for text in longest(rows)[0]] == [100, 97, 90, 75, 50]
    assert longest(rows)[1] == ["Ω"] * 5
    assert longest([]) == []
