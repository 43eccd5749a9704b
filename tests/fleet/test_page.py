"""The page and the pictures of very many proofs: whole, escaped, the same each time, and told in words."""

from __future__ import annotations

import dataclasses
import re
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from scipy import stats

from loomproof.cli.main import run
from loomproof.fleet.shares import share_interval
from loomproof.fleet.survival import surviving
from loomproof.jobs.fleet import BETWEEN, Answers, kept_until, of_the_store, passed_share
from loomproof.jobs.fleet_report import _sections, write_page, write_pictures
from loomproof.records.store import open_store
from loomproof.reports.fleet_pictures import Month, faults_picture, first_pass_picture
from loomproof.reports.fleet_words import percent_of, slope_texts
from loomproof.results.drift import Drift
from tests.fleet.filled import Fault
from tests.fleet.joints_filled import fill_joints, made

EVIL = 'T<b>AIL</b> & "$x$" $\\frac$'


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> tuple[Answers, ...]:
    runs, readings = made(seed=3, looms=5, joints=5, proofs=12)
    for number, proof in enumerate(runs):
        if number % 4 == 0:
            proof.verdict = "fail"
            where = [("wire", f"W{number}"), ("connector", EVIL), ("cavity", f"{EVIL}:01")]
            proof.faults = [Fault(1, "open", "crimp", "fault", where)]
    path = str(tmp_path_factory.mktemp("page") / "records.db")
    with open_store(path) as store:
        fill_joints(store, runs, readings)
    return of_the_store(path)


class Page(HTMLParser):
    """What stands in a page, as a browser would read it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.told: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.told.append(data)


def test_the_page_needs_nothing_from_elsewhere_and_its_tables_say_what_its_pictures_show(
    answers: tuple[Answers, ...], tmp_path: Path
) -> None:
    text = write_page(tmp_path / "a.html", "store a.db", answers).read_text(encoding="utf-8")
    page = Page(text)
    names = Counter(tag for tag, _ in page.tags)
    assert not {"script", "link", "img", "iframe", "object", "b"} & set(names)
    links = [
        value
        for _, attributes in page.tags
        for name, value in attributes.items()
        if value and name in ("href", "src", "xlink:href")
    ]
    assert links
    assert all(link.startswith("#") for link in links), "only places in the page itself"
    assert not re.search(r"url\((?!#)|@import", text)
    ids = Counter(attributes["id"] for _, attributes in page.tags if attributes.get("id"))
    assert [name for name, count in ids.items() if count > 1] == []
    assert names["table"] == names["caption"] >= names["svg"] > 4
    assert all(attributes.get("scope") for tag, attributes in page.tags if tag == "th")
    assert all(attributes.get("role") == "img" for tag, attributes in page.tags if tag == "svg")
    assert names["title"] == names["desc"] + 1 == names["svg"] + 1, "one is the page's own"
    told = " ".join(page.told)
    assert EVIL in told
    assert "that each joint scatters by itself" in told
    assert "holds for one look" in told
    assert "When between the two it was lost nobody saw" in told
    assert "Joints of one loom go through the same things and are not independent" in told
    assert "From fewer than ten looms none is told" in told
    counted = (Path(__file__).parents[1] / "campaign/results/lasting.md").read_text(encoding="utf-8")
    held = [tuple(map(int, pair)) for pair in re.findall(r"\| (\d+) of (\d+) \| \d+ of", counted)]
    true, made_up = (sum(each) for each in zip(*held, strict=True))
    assert f"of {made_up} such intervals, from looms made up by chance, {true} held the true share" in told
    assert answers[0].survival.lost
    assert BETWEEN in [line.strip() for line, _ in answers[0].lines]
    (real, played) = answers
    assert "On simulated benches" in page.told
    assert real.joints.drifting
    for joint in real.joints.drifting:
        assert joint.joint in told
        assert str(joint.meets) in page.told
    for month in real.told.first_pass:
        assert percent_of(100 * month.passed / month.looms) in page.told
    assert (
        f"{real.survival.joints} joints of {real.survival.looms} looms that were good at their first" in told
    )
    assert played.survival.joints


def test_pictures_are_the_same_each_time_and_told_in_words(
    answers: tuple[Answers, ...], tmp_path: Path
) -> None:
    # What has no faults is drawn quickly.
    real = [
        dataclasses.replace(
            answers[0],
            told=dataclasses.replace(answers[0].told, faults={"kind": [("open", 4), ("short", 1)]}),
        )
    ]
    written = [write_pictures(tmp_path / folder, real) for folder in ("a", "b")]
    kinds = ("first-pass", "drift", "survival", "faults-by-kind")
    assert [path.name for path in written[0]] == [
        f"{name}{ending}" for name in kinds for ending in (".svg", ".png")
    ]
    for one, other in zip(*written, strict=True):
        assert one.read_bytes() == other.read_bytes()
        if one.suffix == ".svg":
            title, words = ElementTree.fromstring(one.read_bytes())[:2]
            assert title.tag.endswith("}title")
            assert words.text
    assert "open 4, short 1." in written[0][6].read_text(encoding="utf-8")


def test_a_dollar_in_a_name_is_no_formula() -> None:
    assert b"<svg" in faults_picture("connector", [(EVIL, 2), ("名", 1)], whole=True).svg


def test_shares_have_wilsons_interval() -> None:
    for part, whole in ((0, 3), (3, 3), (7, 40), (999, 1000)):
        by_scipy = stats.binomtest(part, whole).proportion_ci(0.95, method="wilson")
        assert share_interval(part, whole) == pytest.approx((by_scipy.low, by_scipy.high), abs=1e-12)
    assert [percent_of(share) for share in (100, 99.97, 50, 0.01, 0)] == [
        *("100.0 %", "over 99.9 %", "50.0 %", "under 0.1 %", "0.0 %")
    ]


def test_no_month_lies_outside_its_own_interval() -> None:
    for whole in range(1, 200):
        low, high = share_interval(0, whole)
        assert low == 0.0 < high < 1.0
        low, high = share_interval(whole, whole)
        assert 0.0 < low < high == 1.0
    # All failed, all passed, one proof of either kind, a single month: each is drawn.
    for shares in ([(4, 0)], [(4, 4), (11, 0), (1, 0), (1, 1)]):
        months = [
            Month(f"2026-{n:02}", of, good, *share_interval(good, of))
            for n, (of, good) in enumerate(shares, 1)
        ]
        assert b"<svg" in first_pass_picture(months).svg


def test_what_a_reader_is_told_of_an_interval_holds_it() -> None:
    few = surviving([[(20, None, 6), (40, None, 3), (350, 400, 1)]])
    assert next(kept_until(few)) == (*(30, "all", "none was lost by then; 4 watched so long"),)
    kept = list(kept_until(surviving([[(300, 400, 100), (720, 740, 100)]])))
    assert kept[-2:] == [
        (365, "50.0 % to 100.0 %", "no interval from 1 loom"),
        (730, "0.0 % to 50.0 %", "no interval from 1 loom"),
    ]
    assert not any("nan" in text for _, *texts in kept for text in texts)
    joint = Drift("J", "", "J", 5, 90, 0.02, 0.03, 0.012346, 0.012349, 1.23411, None, None, None)
    assert slope_texts(joint) == ("12.3 mΩ", "12.3 to 1240 mΩ")
    below = replace(joint, slope_from=-0.00012341, slope_to=0.0123)
    assert slope_texts(below)[1] == "-0.124 to 12.3 mΩ"
    assert passed_share(1999, 2000) == ("over 99.9 %", "99.7 % to 100.0 %")
    for part, whole in ((1, 3), (1999, 2000), (0, 7), (40, 41)):
        low, high = (float(end.rstrip(" %")) for end in passed_share(part, whole)[1].split(" to "))
        true = stats.binomtest(part, whole).proportion_ci(0.95, method="wilson")
        assert low / 100 <= true.low + 1e-12 <= true.high <= high / 100 + 1e-12


def test_screen_and_table_show_the_interval_that_the_picture_draws(answers: tuple[Answers, ...]) -> None:
    month = answers[0].told.first_pass[-1]
    within = passed_share(month.passed, month.looms)[1]
    assert any(month.month in line and within in line for line, _ in answers[0].lines)
    (section, *_) = _sections(answers[0])
    assert section.table is not None
    assert within in section.table.rows[0]


def test_tables_are_asked_of_all_proofs_simulated_ones_apart(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["report", "--tables", "--simulated"]) == 2
    assert "count all proofs, simulated ones apart" in " ".join(capsys.readouterr().err.split())


def test_the_command_writes_page_and_pictures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["report", "--pictures", str(tmp_path / "none")]) == 2
    assert "nothing is kept that could be drawn" in capsys.readouterr().err
    runs, readings = made(seed=3, looms=2, joints=2, proofs=12)
    with open_store() as store:
        fill_joints(store, runs, readings)
    assert run(["report", "--html", str(tmp_path / "a.html")]) == 0
    told = capsys.readouterr().out
    assert str(tmp_path / "a.html") in told.replace("\n", "")
    assert "read often enough" in told
    assert "at their first proof, and still are" in told
    assert "store records.db" in (tmp_path / "a.html").read_text(encoding="utf-8")
    assert run(["report", "--html", str(tmp_path / "a.txt")]) == 2


def test_where_no_share_is_told_nothing_is_said_of_intervals(answers: tuple[Answers, ...]) -> None:
    soon = replace(answers[0], survival=surviving([[(2, 5, 1)], [(6, None, 1)]]))
    assert soon.survival.lost
    assert not list(kept_until(soon.survival))
    assert BETWEEN not in [line.strip() for line, _ in soon.lines]
