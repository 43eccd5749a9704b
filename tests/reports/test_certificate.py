"""The certificate's pages, read back by pdftotext and pypdf, which share nothing with what sets them."""

from __future__ import annotations

import io
import json
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from loomproof.errors import RecordError
from loomproof.reports.certificate import certificate_pdf
from loomproof.reports.label import label_pdf
from loomproof.reports.words import worst
from loomproof.results.document import AdapterEntry, CheckEntry, Document, Verdict
from loomproof.results.measured import Decision
from tests.reports.sample import document

pytestmark = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")


def sealed(made: Document, **body: object) -> bytes:
    """A record in form only: its seal is not this room's business."""
    chain = {"bench": "bench @ 0badcafe", "sequence": 2, "previous": "ab" * 32}
    plain = {
        "body": {"format": 1, "kind": "proof", "chain": chain, "document": made.plain(), **body},
        "hash": "cd" * 32,
        "seal": {"algorithm": "Ed25519", "key": "ef" * 32, "signature": "00" * 64},
    }
    return json.dumps(plain).encode()


def pages(pdf: bytes, tmp_path: Path) -> list[str]:
    (tmp_path / "c.pdf").write_bytes(pdf)
    done = subprocess.run(
        ["pdftotext", "-layout", "c.pdf", "-"], cwd=tmp_path, capture_output=True, check=True
    )
    return done.stdout.decode().split("\f")[:-1]


def certificate(made: Document, tmp_path: Path, **body: object) -> list[str]:
    return pages(certificate_pdf(sealed(made, **body), fingerprint="aaaa bbbb", link="LOOMPROOF:X"), tmp_path)


def test_a_certificate_tells_all_that_it_must(tmp_path: Path) -> None:
    text = " ".join(" ".join(certificate(document(), tmp_path)).split())
    for word in (
        "FAIL",
        "Tail lamp loom, left, TL-0007",
        "0d" * 32,
        "Own build scanner 128 SB-1, firmware 1.2, 128 points",
        "last self-test 2026-01-05 10:14:58 UTC",
        "±(0.100 Ω + 1.00% of reading), two-wire",
        "adapter in order",
        "leads zeroed 2026-01-05 09:58:00 UTC",
        "by A. Tester",
        "at bench 2, back room",
        "temperature 19.5 °C",
        "7 connectors, 12 cavities",
        "What was not tested",
        "Insulation above 12 V.",
        "Cavities without a test point: ECU:99.",
        "Waived by name by A. Tester",
        "high resistance in W1",
        "measured 4.73 Ω ± 0.11 Ω, limit 0.350 Ω",
        "Cut W1 back",
        "To tell apart",
        "broken strands",
        "measured + U <= limit (k = 2)",
        "reads low by CLEAR",
        "uncertainty 0.110 Ω (k = 2)",
        "Smallest margins",
        "Connectors tested",
        "Claims by resistance",
        "Claims by threshold",
        "cd" * 32,
        "aaaa bbbb",
        "record 2",
        "Airbag and belt-tensioner",
    ):
        assert word in text, word


def test_what_fails_stands_first_among_the_smallest_margins(tmp_path: Path) -> None:
    """Eleven that nobody could decide have less left than two that fail, one of them open."""
    made = document(wires=13)
    joints = [claim for claim in made.claims if claim.kind == "resistance"]
    fails, opened, *rest = joints
    fails = fails.model_copy(update={"measured_ohm": 0.48})
    opened = opened.model_copy(
        update={"decision": Decision.FAIL, "measured_ohm": None, "open": True, "bound_ohm": None}
    )
    undecided = [
        claim.model_copy(update={"decision": Decision.UNDECIDED, "uncertainty_ohm": 3.0}) for claim in rest
    ]
    made = made.model_copy(update={"claims": (*undecided, fails, opened)})
    assert [claim.subject for claim, _ in worst(made)][:2] == [opened.subject, fails.subject]
    text = " ".join(" ".join(certificate(made, tmp_path)).split())
    assert re.search(r"Smallest margins: 10 of 13 .* Margin W2 open 0.350 Ω beyond it W1 0.48", text)
    assert "Smallest margins: " not in " ".join(certificate(document(), tmp_path))


def test_a_certificate_hides_no_shortcut(tmp_path: Path) -> None:
    """Leads, self-tests and the look at the loom: what was not done, or failed, stands in the facts."""
    made = document()
    plain = made.model_copy(
        update={
            "inspection": (),
            "adapter": AdapterEntry(name="mine", leads_ohm=(0.25, 0.9)),
            "bench": made.bench.model_copy(update={"last_selftest": "", "simulated": False}),
        }
    )
    text = " ".join(" ".join(certificate(plain, tmp_path)).split())
    for word in (
        "last self-test none kept",
        "adapter leads 0.250 Ω to 0.900 Ω taken off for each, not all zeroed",
        "looked at by eye nobody is stated to have looked it over",
    ):
        assert word in text, word
    simulated = plain.model_copy(
        update={
            "adapter": AdapterEntry(name="mine", leads_zeroed="2031-05-03"),
            "bench": made.bench.model_copy(update={"last_selftest": "", "simulated": True}),
        }
    )
    text = " ".join(" ".join(certificate(simulated, tmp_path)).split())
    assert "last self-test not looked at: the bench is simulated" in text
    assert "zeroed 2031-05-03" in text
    assert "00:00" not in text.split("zeroed 2031-05-03")[1][:20]
    bench = made.bench.model_copy(update={"selftest_failures": "dead drivers (nothing plugged, 2031-05-04)"})
    told = made.model_copy(update={"bench": bench, "inspection": ("chafing: taped at C1", "seals: in order")})
    text = " ".join(" ".join(certificate(told, tmp_path)).split())
    assert "self-test FAILED dead drivers (nothing plugged, 2031-05-04)" in text
    assert "looked at by eye chafing: taped at C1; seals: in order" in text


def test_a_certificate_says_how_long_was_watched_and_who_checked_what(tmp_path: Path) -> None:
    made = document()
    checks = (
        CheckEntry(name="voltage", passed=True, text="0 V by a person's meter (limit 0.5 V)"),
        CheckEntry(name="sense", passed=True, text="this bench cannot sense; all is read in ohms"),
        CheckEntry(name="sense", passed=True, text="this bench cannot sense; all is read in ohms"),
        CheckEntry(name="read back", passed=False, text="point 3 reads high while driven"),
    )
    bench = made.bench.model_copy(update={"checks": checks})
    counts = made.counts.model_copy(update={"watched_s": 30.0})
    told = made.model_copy(update={"bench": bench, "counts": counts, "inspection": ("", "   ")})
    text = " ".join(" ".join(certificate(told, tmp_path)).split())
    for word in (
        "voltage: 0 V by a person's meter (limit 0.5 V); sense: this bench cannot sense; all is read in "
        "ohms; read back FAILED: point 3 reads high while driven",
        "watched 30 s",
        "looked at by eye nobody is stated to have looked it over",
    ):
        assert word in text, word
    assert "watched" not in " ".join(" ".join(certificate(made, tmp_path)).split())


@pytest.mark.parametrize("verdict", list(Verdict))
def test_every_verdict_has_a_certificate(verdict: Verdict, tmp_path: Path) -> None:
    text = certificate(document(verdict=verdict), tmp_path)[0]
    assert verdict.value.upper() in text
    assert ("not a pass" in text) == (verdict in (Verdict.UNDECIDED, Verdict.INCOMPLETE))


def test_a_note_on_the_whole_run_is_not_contradicted_by_its_findings(tmp_path: Path) -> None:
    repairs = [{"person": "B. Mender", "done": "2026-01-06T09:00:00+00:00", "words": "all plugs cleaned"}]
    mended = [
        {"run": "r1", "finding": "W1 open", "repairs": []},
        {"run": "r1", "finding": "the whole run", "repairs": repairs},
    ]
    text = " ".join(certificate(document(verdict=Verdict.PASS), tmp_path, mended=mended))
    assert "all plugs cleaned" in text
    assert "as noted for the whole run" in text
    assert "no note was kept" not in text


def test_what_was_mended_is_told_in_the_persons_words(tmp_path: Path) -> None:
    repairs = [
        {"person": "B. Mender", "done": "2026-01-06T09:00:00+00:00", "words": "cut back, new terminal"}
    ]
    mended = [
        {"run": "r1", "finding": "W1 open", "repairs": repairs},
        {"run": "r2", "finding": "W2 open", "repairs": []},
    ]
    made = document(verdict=Verdict.PASS)
    text = " ".join(certificate(made, tmp_path, mended=mended, remarks=["The clock went back."]))
    for word in (
        "Found before, and not in this proof",
        "B. Mender",
        "new terminal",
        "no note was kept",
        "clock went back",
    ):
        assert word in text, word


def test_a_long_loom_breaks_over_pages_with_heads_repeated(tmp_path: Path) -> None:
    made = document(wires=300, verdict=Verdict.PASS)
    texts = certificate(made, tmp_path)
    assert len(texts) > 8
    for number, text in enumerate(texts, 1):
        assert f"page {number} of {len(texts)}" in text
        assert "record cdcdcdcdcdcdcdcd" in text
    for number, text in enumerate(texts[1:], 2):
        assert "Tail lamp loom, left, TL-0007" in text.splitlines()[0], number
        rows = [line for line in text.splitlines() if line.strip().endswith("holds")]
        if rows:
            heads = [line for line in text.splitlines() if re.search("(Rule|Wire).*Decision", line)]
            assert heads, f"page {number} has rows and no head"
            assert len(rows) >= 2, f"page {number} has an orphaned row"


def test_three_wires_need_few_pages(tmp_path: Path) -> None:
    assert len(certificate(document(wires=3, verdict=Verdict.PASS), tmp_path)) <= 4


def test_the_same_record_gives_the_same_bytes() -> None:
    record = sealed(document())
    plain = json.loads(record)
    read = {"body": plain["body"], "hash": plain["hash"], "seal": {"key": plain["seal"]["key"]}}
    assert certificate_pdf(record, link="X") == certificate_pdf(record, link="X", read=read)


def test_any_text_can_be_set(tmp_path: Path) -> None:
    """Characters that no font has, markup of the typesetter, control characters, very long words."""
    name = "#panic() *b* _i_ $x$ <l> @r `c` \\ 中文 \U0001f600 \ue000 \x1b[0m " + "w" * 300
    made = document(name=name, person='] #eval("1") [', verdict=Verdict.PASS)
    text = " ".join(certificate(made, tmp_path))
    assert "#panic() *b* _i_ $x$ <l> @r `c`" in text
    assert "\u4e2d" in text or "[U+4E2D]" in text
    attached: Any = PdfReader(tmp_path / "c.pdf").attachments["record.json"][0]
    assert json.loads(attached)["body"]["document"]["loom"]["name"] == name


def test_a_screen_reader_finds_structure_and_words_for_pictures() -> None:
    reader = PdfReader(io.BytesIO(certificate_pdf(sealed(document()), link="X")))
    kinds: set[str] = set()
    alternatives: list[str] = []

    def walk(node: Any) -> None:
        node = node.get_object() if hasattr(node, "get_object") else node
        if isinstance(node, list):
            for child in node:
                walk(child)
        elif isinstance(node, dict) and "/S" in node:
            kinds.add(str(node["/S"]))
            if "/Alt" in node:
                alternatives.append(str(node["/Alt"]))
            walk(node.get("/K", []))

    tree: Any = reader.trailer["/Root"]
    walk(tree["/StructTreeRoot"]["/K"])
    assert {"/H1", "/H2", "/Table", "/TR", "/TH", "/TD", "/L", "/LI", "/Figure"} <= kinds
    assert any("plug ECU: 6 cavities; faulty: 1" in text for text in alternatives)


def test_a_label_is_one_small_page_with_hash_and_fingerprint(tmp_path: Path) -> None:
    made = document(verdict=Verdict.PASS)
    pdf = label_pdf(made, "cd" * 32, "aaaa bbbb cccc dddd", "LOOMPROOF:" + "CD" * 32 + ":AAAA")
    (text,) = pages(pdf, tmp_path)
    for word in ("Tail lamp loom, left", "PASS", "2026-01-05", "cdcdcdcdcdcdcdcd", "aaaa bbbb cccc"):
        assert word in text
    box = PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    assert (round(float(box.width) / 72 * 25.4), round(float(box.height) / 72 * 25.4)) == (62, 29)


@pytest.mark.parametrize("letters", [10, 60, 120, 160])
def test_a_label_shows_every_word_of_a_long_name_inside_its_edges(letters: int, tmp_path: Path) -> None:
    made = document(verdict=Verdict.UNDECIDED)
    words = [f"word{k:02}" for k in range(letters // 7 + 1)]
    loom = made.loom.model_copy(update={"name": " ".join(words), "serial": "SN-2026-000000017-REBUILT-B"})
    made = made.model_copy(update={"loom": loom})
    pdf = label_pdf(made, "cd" * 32, "aaaa bbbb cccc dddd", "LOOMPROOF:" + "CD" * 32 + ":AAAA")
    (tmp_path / "c.pdf").write_bytes(pdf)
    done = subprocess.run(
        ["pdftotext", "-bbox", "c.pdf", "-"], cwd=tmp_path, capture_output=True, check=True, text=True
    )
    found = re.findall(r'<word xMin="(.+?)" yMin="(.+?)" xMax="(.+?)" yMax="(.+?)">(.*?)</word>', done.stdout)
    texts = [text for *_, text in found]
    for word in (*words, "SN-2026-000000017-REBUILT-B", "UNDECIDED", "cdcdcdcdcdcdcdcd", "dddd"):
        assert word in texts
    mm = 72 / 25.4
    for x0, y0, x1, y1, _ in found:
        assert 1 * mm < float(x0) < float(x1) < 40 * mm  # Left of the code, which begins at 38 mm.
        assert 0 <= float(y0) < float(y1) < 29 * mm


def test_a_name_that_no_label_holds_is_refused_with_its_length(tmp_path: Path) -> None:
    made = document(verdict=Verdict.PASS)
    made = made.model_copy(update={"loom": made.loom.model_copy(update={"name": "estate " * 120})})
    with pytest.raises(RecordError, match=r"have \d+ letters") as told:
        label_pdf(made, "cd" * 32, "aaaa bbbb cccc dddd", "LOOMPROOF:" + "CD" * 32 + ":AAAA")
    assert told.value.cure


def test_a_certificate_states_the_heads_that_its_record_names(tmp_path: Path) -> None:
    """Its own number in its chain at the foot, and the last records of others; none from before."""
    heads = [{"bench": f"bench {n} @ feed", "sequence": n, "record": f"{n:x}" * 64} for n in range(1, 9)]
    text = " ".join(" ".join(certificate(document(), tmp_path, met={"store": "s", "heads": heads})).split())
    assert "record 2, cdcdcdcdcdcdcdcd" in text
    assert "record 1 of bench 1 @ feed, 1111111111111111…" in text
    assert "and 2 more, in the attached record" in text
    alone = " ".join(" ".join(certificate(document(), tmp_path, met={"store": "s", "heads": []})).split())
    assert "record 2, cdcdcdcdcdcdcdcd" in alone
    assert "last of others" not in alone
    before = " ".join(" ".join(certificate(document(), tmp_path)).split())
    assert "record cdcdcdcdcdcdcdcd" in before
