"""Page, terminal and JSON say one thing of random looms, proved by the page's own button on a simulator.

What the JSON holds is read here as JSON, and pages as any browser reads them: by no code that wrote either.
"""

from __future__ import annotations

import asyncio
import csv
import dataclasses
import io
import json
import random
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import quote

import httpx
import pytest
from rich.console import Console, RenderableType

from loomproof.fitting.sheet import fitting_sheet
from loomproof.jobs.archive import Archive
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from loomproof.reports import fitting_sheet as sheet_report
from loomproof.reports.terminal import findings_view, summary_view
from loomproof.results.fitting import Sheet
from tests.looms import random_faults, random_loom
from tests.simulating import started
from tests.web.asking import client, house

WORDS = {"pass": "PASS", "fail": "FAIL", "undecided": "UNDECIDED", "incomplete": "INCOMPLETE"}
WIDE = 4_000
"""Columns: no sentence is folded."""
FIGURE = re.compile(r"(?:[<>≤≥±] ?)?\d+(?:\.\d+)? ?(?:[µmkMG]?Ω|m?V|mm²|mm|m|%|A)(?![\w²])")
"""A figure with its unit, as any of the three writes it."""


class Texts(HTMLParser):
    """The words of a page or of a part of it, drawings left out, and the texts of each element by its tag."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self._drawing = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._drawing += tag == "svg"

    def handle_endtag(self, tag: str) -> None:
        self._drawing -= tag == "svg"

    def handle_data(self, data: str) -> None:
        if not self._drawing:
            self.words.append(data)


def words(markup: str) -> str:
    parser = Texts()
    parser.feed(markup)
    return squeezed(" ".join(parser.words))


def squeezed(text: str) -> str:
    """Return a text by its words alone: blanks and line ends are each way's own."""
    return " ".join(text.split())


def printed(*views: RenderableType) -> str:
    console = Console(file=io.StringIO(), width=WIDE, no_color=True)
    for view in views:
        console.print(view)
    assert isinstance(console.file, io.StringIO)
    return console.file.getvalue()


@dataclass(frozen=True)
class Said:
    """What was said of one loom: while it ran, on its page, as JSON, at a terminal, and to be fitted."""

    loom: str
    live: dict[str, Any]
    page: str
    data: dict[str, Any]
    screen: str
    findings: str
    fit_page: str
    fit_screen: str
    fit_csv: list[dict[str, str]]

    @property
    def cards(self) -> list[str]:
        return re.findall(r"<article.*?</article>", self.page, re.DOTALL)


def gathered(count: int, seed: int, place: Path) -> list[Said]:
    """Prove so many random looms by the button of their pages, and return what was said of each."""
    folder, out = place / "looms", place / "out"
    folder.mkdir()
    rng = random.Random(seed)
    benches = []
    for number in range(count):
        loom = random_loom(rng, rng.randint(6, 14), f"loom {number} <&>")
        write_folder(dataclasses.replace(loom, serial=f"S-{number}"), folder / f"L{number:02}")
        faults = random_faults(rng, loom, number % 4)
        benches.append("sim:?" + "&".join(f"fault={quote(fault.text)}" for fault in faults))
    of = house(out, folder)
    of = dataclasses.replace(of, workplace=dataclasses.replace(of.workplace, benches=tuple(set(benches))))

    async def ask() -> list[Said]:
        async with client(of) as asks:
            return [await _proved(asks, f"L{number:02}", bench) for number, bench in enumerate(benches)]

    async def _proved(asks: httpx.AsyncClient, name: str, bench: str) -> Said:
        begun = await asks.post(f"/looms/{name}/prove", data={"bench": bench, "person": "I. Torvald"})
        assert begun.status_code == 303, words(begun.text)
        while of.session.running:
            await asyncio.sleep(0.005)
        live = of.session.since(0)
        assert live["error"] is None, live["error"]
        archive = Archive(of.workplace.store)
        document = archive.document(archive.run("last").hash)
        (results,) = out.glob(f"*{document.run}*.results.json")
        fit = await asks.get(f"/fit/{name}")
        sheet = _sheet(of.workplace.loom(name), archive)
        return Said(
            name,
            live,
            (await asks.get(live["ending"]["page"])).text,
            json.loads(results.read_text(encoding="utf-8")),
            squeezed(printed(summary_view(document), findings_view(document))),
            printed(findings_view(document)),
            fit.text,
            squeezed(printed(*sheet_report.views(sheet))),
            list(csv.DictReader(io.StringIO(sheet_report.sheet_csv(sheet)))),
        )

    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LOOMPROOF_HOME", str(place / "home"))
        patch.setattr("loomproof.bench.simulation.Simulation", started)
        # Setting the paper takes longer than all the rest, and tests/reports reads it.
        patch.setattr("loomproof.jobs.certificate.issue", lambda *_: b"%PDF-1.7")
        return asyncio.run(ask())


def _sheet(path: Path, archive: Archive) -> Sheet:
    loom = load(path).loom
    return fitting_sheet(loom, {}, archive.proof_of(loom))


def there_is_something_to_compare(said: Sequence[Said]) -> None:
    assert {each.data["verdict"] for each in said} >= {"pass", "fail"}
    assert sum(len(each.data["findings"]) for each in said) > len(said) // 2


def the_verdict_is_one_and_so_are_its_reasons(said: Sequence[Said]) -> None:
    for each in said:
        word = WORDS[each.data["verdict"]]
        assert (each.live["ending"]["verdict"], each.live["ending"]["word"]) == (each.data["verdict"], word)
        assert each.screen.startswith(f"{word} ")
        assert re.search(rf'class="verdict {each.data["verdict"]}"><strong>{word}\b', each.page)
        for reason in each.data["reasons"]:
            assert squeezed(reason) in each.screen
            assert squeezed(reason) in words(each.page)
            assert reason in each.live["ending"]["lines"]


def a_simulated_bench_is_called_so_everywhere(said: Sequence[Said]) -> None:
    for each in said:
        assert each.data["bench"]["simulated"] is True
        for text in (each.screen, words(each.page), " ".join(each.live["ending"]["lines"])):
            assert "bench was simulated: this says nothing of a real loom" in text


def findings_are_the_same_sentence_for_sentence(said: Sequence[Said]) -> None:
    for each in said:
        findings = each.data["findings"]
        assert len(each.cards) == len(findings)
        for number, (finding, card) in enumerate(zip(findings, map(words, each.cards), strict=True), 1):
            weight = finding["severity"]
            assert f"{number}. {weight}: {squeezed(finding['title'])}" in each.screen
            assert re.search(rf"{number}\. . {weight}: {re.escape(squeezed(finding['title']))}", card)
            sentences = [*finding["places"], *finding["repair"], *finding["cautions"]]
            sentences += [other["text"] for other in finding["alternatives"]]
            sentences += [other["tell_apart"] for other in finding["alternatives"]]
            for sentence in map(squeezed, sentences):
                assert sentence in each.screen
                assert sentence in card
        if not findings:
            assert "No faults found." in each.screen
            assert "No faults found." in words(each.page)


def what_the_terminal_says_of_a_finding_its_card_says(said: Sequence[Said]) -> None:
    """Row by row: where, wire, part, cause, evidence, place, where to look, repair, caution, what else."""
    rows = 0
    for each in said:
        for number, card in enumerate(map(words, each.cards), 1):
            for line in _rows(each.findings, number):
                assert squeezed(line) in card, (each.loom, number)
                rows += 1
    assert rows > 8 * len(said)


def _rows(screen: str, number: int) -> Iterator[str]:
    """Yield the facts of one finding as a terminal shows them, faces and drawn wires left out."""
    part = re.split(r"^(?=\d+\. (?:fault|note): )", screen, flags=re.MULTILINE)[1:][number - 1]
    for line in part.splitlines()[1:]:
        row = re.match(r"  (where|wire|part|cause|evidence|place|look|repair|caution|or) +(\S.*)$", line)
        if row:
            yield re.sub(r"^\d+\. ", "", row[2]) if row[1] == "look" else row[2]


def no_figure_stands_on_one_of_them_alone(said: Sequence[Said]) -> None:
    figures = 0
    for each in said:
        screen = each.findings
        for number, card in enumerate(each.cards, 1):
            part = re.split(r"^(?=\d+\. (?:fault|note): )", screen, flags=re.MULTILINE)[1:][number - 1]
            own = [line for line in part.splitlines() if not re.search(r"from the mating side|\[|[─━]", line)]
            on_screen = {squeezed(figure) for figure in FIGURE.findall(" ".join(own))}
            on_page = {squeezed(figure) for figure in FIGURE.findall(words(card))}
            assert on_page == on_screen, (each.loom, number)
            figures += len(on_page)
    assert figures > len(said)


def counts_and_cavities_are_those_of_the_document(said: Sequence[Said]) -> None:
    for each in said:
        counts, coverage = each.data["counts"], each.data["coverage"]
        faults = sum(finding["severity"] == "fault" for finding in each.data["findings"])
        told = re.search(r"(\d+) faults?, (\d+) notes?", words(each.page))
        assert told is not None
        assert (int(told[1]), int(told[2])) == (counts["faults"], counts["notes"])
        assert counts["faults"] == faults
        assert f"{counts['faults']} fault" in each.screen
        at_faults = {
            end
            for found in each.data["findings"]
            if found["severity"] == "fault"
            for end in found["cavities"]
        }
        states = each.live["cavities"]
        assert {end for end, state in states.items() if state == "fault"} == at_faults & set(states)
        sound = {end for end, state in states.items() if state == "sound"}
        assert sound <= set(coverage["tested"]) - at_faults
        if each.data["verdict"] == "pass":
            open_ohms = {
                end
                for claim in each.data["claims"]
                if claim["decision"] == "undecided"
                for end in claim["cavities"]
            }
            named = {end for wire in each.data["wires"] for end in wire["ends"]}
            tested = set(coverage["tested"])
            assert {end for end, state in states.items() if state == "joined"} == open_ohms & tested
            assert {end for end, state in states.items() if state == "empty"} <= tested - named - open_ohms
            assert not sound & open_ohms
            assert tested == {end for end, state in states.items() if state in ("sound", "joined", "empty")}


def the_fitting_sheet_is_one_on_page_screen_and_as_csv(said: Sequence[Said]) -> None:
    for each in said:
        page = words(each.fit_page)
        for row in each.fit_csv:
            for told in map(squeezed, re.split(r"\([abc]\) ", row["check"])):
                assert told in page, (each.loom, row)
                if row["list"] != "connect":  # the checks of a row that is joined are for paper, page and CSV
                    assert told in each.fit_screen
            if row["list"] == "connect":
                assert f"{row['connector']}:{row['cavity']} to {squeezed(row['goes_to'])}" in page
            if row["action"]:
                assert f"{row['connector']}:{row['cavity']}: " in page
                assert row["action"] in page


CHECKS: tuple[Callable[[Sequence[Said]], None], ...] = (
    there_is_something_to_compare,
    the_verdict_is_one_and_so_are_its_reasons,
    a_simulated_bench_is_called_so_everywhere,
    findings_are_the_same_sentence_for_sentence,
    what_the_terminal_says_of_a_finding_its_card_says,
    no_figure_stands_on_one_of_them_alone,
    counts_and_cavities_are_those_of_the_document,
    the_fitting_sheet_is_one_on_page_screen_and_as_csv,
)
