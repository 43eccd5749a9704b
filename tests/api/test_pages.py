"""What a notebook shows: well-formed tables without anything from elsewhere, every text escaped."""

from __future__ import annotations

from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

import loomproof as lp
from loomproof.loom.model import Wire
from loomproof.notebook import Shown
from loomproof.results.findings import Findings, Kind, Severity
from tests.test_clearance import ABLE, Counting

EVIL = "<script>alert(1)</script>&\u202e"
"""A name that would run as a script, and turn the text after it around."""

ALLOWED = {
    *("div", "p", "b", "ul", "li", "table", "thead", "tbody", "tr", "th", "td"),
}


class Page(HTMLParser):
    """What a page holds: tables as rows of texts, and whether its elements are nested as they should be."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.rows: list[list[str]] = []
        self.texts: list[str] = []
        self.feed(html)
        self.close()
        assert not self.open, f"not closed: {self.open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert tag in ALLOWED, tag
        assert {name for name, _ in attrs} <= {"style", "scope"}
        assert all("url" not in (value or "") for _, value in attrs)
        self.open.append(tag)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append(data)
        if self.open[-1] in ("td", "th"):
            self.rows[-1][-1] += data

    @property
    def text(self) -> str:
        return "\n".join(self.texts)


def page(value: Shown) -> Page:
    html = value._repr_html_()
    assert html
    return Page(html)


@pytest.fixture(scope="module")
def lamp(fixtures: Path) -> lp.Loom:
    return lp.load(fixtures / "tail_lamp")


@pytest.fixture(scope="module")
def engine(fixtures: Path) -> lp.Loom:
    return lp.load(fixtures / "hillclimb_engine")


def test_a_loom_shows_its_connectors_and_wires_as_they_are_called(lamp: lp.Loom) -> None:
    shown = page(lamp)
    (wire,) = [row for row in shown.rows if row[0] == "W2"]
    assert wire[:5] == ["W2", "BODY:2", "LAMP:2", "BK/RD", "0.75"]
    assert ["holds", "3 connectors, 13 cavities, 6 wires, 0 components"] in shown.rows
    zeros = replace(lamp, wires=(Wire("007", lp.End("BODY", "1"), lp.End("LAMP", "1")),))
    assert "007" in {row[0] for row in page(zeros).rows}


def test_a_plan_and_an_explanation_show_the_same_limit(engine: lp.Loom) -> None:
    planned = lp.plan(engine, Counting(replace(ABLE, points=256)))  # it has no thermometer: both are at 20 °C
    reading = planned.plan.conductors[0]
    rows = {tuple(row[:2]): row[3] for row in page(planned).rows if len(row) == 5}
    limit = rows[str(reading.a), str(reading.b)]
    explained = page(lp.explain(engine, reading.a, reading.b))
    assert ["limit", limit] in explained.rows


def test_hook_ups_show_each_plug_with_its_points(engine: lp.Loom) -> None:
    planned = lp.plan_hookups(engine, 64)
    rows = page(planned).rows[1:]
    assert [row[2] for row in rows if row[1] != "take off"] == [
        unit.name for hook_up in planned.hook_ups for unit in hook_up.units
    ]
    assert rows[0][:2] == ["1", "put on"]
    for _, _, name, points in (row for row in rows if row[1] == "put on"):
        runs = [list(map(int, run.split("-"))) for run in points.split()]
        assert sum(run[-1] - run[0] + 1 for run in runs) == len(engine.by_name[name].ends)


@pytest.mark.parametrize("run", ["pass", "fail", "hook"])
def test_a_proof_shows_verdict_findings_and_what_was_not_tested(run: str) -> None:
    sealed = Path(__file__).parents[1] / "records" / "with_grades" / f"{run}.record.json"
    document = lp.verify(sealed).document()
    shown = page(document)
    assert shown.texts[0].startswith(document.verdict.upper())
    for line in document.not_tested:
        assert line in shown.texts
    for finding in document.findings:
        assert f"{finding.severity}: {finding.title}" in shown.texts
        for repair in finding.repair:
            assert repair in shown.texts
        assert page(finding).text in shown.text
    assert page(Findings(document.findings)).texts


def test_a_fitting_sheet_shows_every_end_once_and_its_dangers_first(engine: lp.Loom) -> None:
    sheet = lp.fit(engine, {"fan": "switch"})
    shown = page(sheet)
    firsts = [row[2] for row in shown.rows if len(row) == 8][1:]
    assert firsts == [str(row.facts.end) for row in sheet.connect]
    safe = [row[0] for row in shown.rows if len(row) == 6 and row[0] != "end"]
    assert safe == [str(row.facts.end) for row in (*sheet.safe, *sheet.places)]
    assert sheet.banner in shown.texts
    assert shown.texts.index("Warnings") < shown.texts.index("Connect, in this order")


def test_what_a_description_says_is_text_and_nothing_else(lamp: lp.Loom) -> None:
    loom = replace(lamp, name="<b>x</b>", description="<img src=x onerror=y>")
    shown = page(loom)
    assert "<b>x</b>" in shown.texts
    assert ["description", "<img src=x onerror=y>"] in shown.rows
    finding = lp.Finding(Kind.OPEN, Severity.FAULT, EVIL, repair=(EVIL,))
    said = page(finding).texts
    assert EVIL.replace("\u202e", "\ufffd") in said
    assert f"fault: {EVIL}".replace("\u202e", "\ufffd") in said


def test_without_a_page_a_value_is_shown_as_text() -> None:
    class Plain(Shown):
        pass

    assert Plain()._repr_html_() is None
