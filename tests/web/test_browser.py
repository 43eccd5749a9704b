"""The pages in a real browser: the real server in a process of its own, the simulator in another.

Debian's Chromium, driven by Playwright. A browser test waits for what a person would see, and for no time.
"""

from __future__ import annotations

import csv
import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from loomproof.jobs.archive import Archive
from loomproof.loom.model import End
from loomproof.reports.words import evidence, headline
from tests.web.asking import LOOMS

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or ""
pytestmark = pytest.mark.skipif(not CHROMIUM, reason="the system package chromium is not installed")

if CHROMIUM:
    from playwright.sync_api import Browser, Page, expect, sync_playwright

PATIENCE_MS = 60_000
HOSTILE = "<img src=x onerror=\"document.title='taken'\">'&"
"""A connector's name that would run as a script on a page that does not escape it."""


class Server:
    """``serve`` with these words; ``address`` lets one browser in.

    It waits longer than a bench may for a sign of life: on a machine that does much else the browser is slow,
    and what ends a watch is tried in `test_session` with a clock of its own.
    """

    def __init__(self, *words: str, out: Path) -> None:
        patient = f"from loomproof.web import session; session.LIFE_S = {PATIENCE_MS / 1000}"
        run = [
            sys.executable,
            "-c",
            f"{patient}; from loomproof.cli.main import main; main()",
            "serve",
            *words,
        ]
        self.store = str(out / "records.db")
        self.process = subprocess.Popen(
            [*run, "--out", str(out), "--store", self.store], stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        self.address = next(line.strip() for line in self.process.stdout if line.startswith("http://"))
        self.base = self.address.partition("/enter")[0]

    def end(self) -> int:
        """Order it to stop, as Ctrl-C does, and return its exit code."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        self.process.communicate(timeout=60)
        return self.process.returncode


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    root = hasattr(os, "geteuid") and os.geteuid() == 0
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox"] if root else [], timeout=PATIENCE_MS
        )
        yield found
        found.close()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The looms: the demo's two, and one with a name in it that wants to be a script."""
    folder = tmp_path_factory.mktemp("looms")
    shutil.copytree(LOOMS / "tail_lamp", folder / "tail_lamp")
    shutil.copytree(LOOMS / "hillclimb_engine", folder / "engine")
    shutil.copytree(LOOMS / "tail_lamp", folder / "<b>hostile'&\"")
    for path in (folder / "<b>hostile'&\"").glob("*.csv"):
        with path.open(newline="", encoding="utf-8") as file:
            rows = [[HOSTILE if cell == "LAMP" else cell for cell in row] for row in csv.reader(file)]
        with path.open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows(rows)
    return folder


@pytest.fixture(scope="module")
def server(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    named = ("sim:?fault=open%20W2", "sim:?paced", "sim:", "tcp:127.0.0.1:9")
    benches = [word for each in named for word in ("--bench", each)]
    made = Server(str(folder), *benches, out=tmp_path_factory.mktemp("out"))
    yield made
    assert made.end() in (0, 3, 130)


def entered(page: Page, server: Server) -> Page:
    """Have a new page come in by the address that was printed, and return it."""
    page.set_default_timeout(PATIENCE_MS)
    page.goto(server.address)
    expect(page.get_by_role("heading", name="Looms")).to_be_visible(timeout=PATIENCE_MS)
    return page


@pytest.fixture(scope="module")
def page(browser: Browser, server: Server) -> Page:
    """The page of who drives."""
    return entered(browser.new_context().new_page(), server)


def proved(page: Page, server: Server, loom: str, bench: str) -> None:
    """Prove a loom by its button, and wait for the verdict."""
    page.goto(server.base)
    page.get_by_role("link", name=loom, exact=True).click()
    page.locator("select[name=bench]").select_option(bench)
    page.locator("input[name=person]").fill("I. Torvald")
    page.get_by_role("button", name="Prove this loom").dblclick()
    expect(page.locator("#verdict")).to_be_visible(timeout=PATIENCE_MS)


def test_a_fault_is_found_shown_answered_noted_and_kept(page: Page, server: Server) -> None:
    proved(page, server, "tail_lamp", "sim:?fault=open%20W2")
    expect(page.locator("#verdict .said")).to_have_text("FAIL")
    expect(page.locator("#verdict .shape")).to_have_text("✗")
    cell = page.locator('[data-end="LAMP:2"]')
    expect(cell).to_have_attribute("data-state", "fault")
    expect(cell).to_contain_text("at a fault")
    archive = Archive(server.store)
    assert len(archive.shelf().runs) == 1  # the button was pressed twice
    document = archive.document(archive.run("last").hash)
    for reason in document.reasons:
        expect(page.locator("#verdict .lines")).to_contain_text(reason)

    page.locator("#verdict .go").click()
    expect(page.locator(".verdict")).to_have_text(
        headline(document.verdict.value, document.grade, document.grade_text)
    )
    finding = document.findings[0]
    card = page.get_by_role("article", name=f"1. ✗ fault: {finding.title}")
    for text in (*map(evidence, finding.evidence), *finding.places, *finding.repair, *finding.cautions):
        expect(card).to_contain_text(text)
    expect(card.locator("svg desc").first).to_contain_text("fault here")

    card.get_by_role("button", name="W2: looked, sound").click()
    expect(page.locator(".note").filter(has_text="W2").first).to_be_visible()
    assert Archive(server.store).answers("last") == ("W2 sound",)

    card = page.get_by_role("article").first
    card.get_by_label("What was done").fill("new contact <crimped>")
    card.get_by_label("Who").fill("I. Torvald")
    card.get_by_role("button", name="Mended").click()
    expect(page.get_by_text("Mended: new contact <crimped> (I. Torvald")).to_be_visible()

    page.get_by_role("button", name="Retest").click()
    expect(page.locator("#title")).to_contain_text("Retest after")
    expect(page.locator("#verdict")).to_be_visible(timeout=PATIENCE_MS)
    expect(page.locator("#verdict .lines")).to_contain_text("finding 1 is still there")
    expect(page.locator("#verdict .lines")).to_contain_text("This is no certificate.")

    page.goto(f"{server.base}/runs")
    row = page.get_by_role("region", name="Proofs").get_by_role("row").filter(has_text=document.run)
    expect(row).to_contain_text("FAIL (1)")
    paper = page.request.get(f"{server.base}/runs/{document.run}/certificate")
    assert (paper.status, paper.body()[:5]) == (200, b"%PDF-")


def test_names_stay_names(page: Page, server: Server) -> None:
    proved(page, server, "<b>hostile'&\"", "sim:")
    expect(page.locator("#verdict .said")).to_have_text("PASS")
    assert page.title() == "Prove · loomproof"
    expect(page.locator("figcaption strong").filter(has_text=HOSTILE)).to_be_visible()
    named = {cell.get_attribute("data-end") for cell in page.locator("[data-end]").all()}
    assert {str(End(HOSTILE, cavity)) for cavity in "123456"} <= named
    cells = page.locator("[data-end]").all()
    states = {cell.get_attribute("data-end"): cell.get_attribute("data-state") for cell in cells}
    assert set(states.values()) <= {"sound", "joined", "empty", "untested"}
    # Sensing joined it to nothing, and nobody saw its lead whole.
    assert [end for end, state in states.items() if state == "untested"] == ["BODY:6"]
    assert page.locator("img").count() == 0


def test_a_reload_finds_what_ran_and_another_browser_watches(
    page: Page, server: Server, browser: Browser
) -> None:
    proved(page, server, "tail_lamp", "sim:")
    page.reload()
    expect(page.locator("#verdict .said")).to_have_text("PASS")
    page.get_by_role("button", name="Let somebody watch").click()
    way = page.locator("code").inner_text()
    other = browser.new_context().new_page()
    other.set_default_timeout(PATIENCE_MS)
    other.goto(f"{server.base}/prove")
    expect(other.get_by_text("This browser has not come in.")).to_be_visible()
    other.goto(way)
    expect(other.get_by_text("This browser watches.")).to_be_visible()
    other.goto(f"{server.base}/prove")
    expect(other.locator("#verdict .said")).to_have_text("PASS")
    assert other.locator("#stop").count() == 0
    other.goto(f"{server.base}/looms/tail_lamp")
    assert other.get_by_role("button", name="Prove this loom").count() == 0
    answer = other.request.post(f"{server.base}/prove/stop", headers={"origin": server.base})
    assert answer.status == 403
    other.context.close()


def test_a_reload_finds_a_running_proof_and_escape_stops_it(page: Page, server: Server) -> None:
    """On a simulator that takes the time of a real scanner: for half a minute nothing is told."""
    page.goto(f"{server.base}/looms/engine")
    page.locator("select[name=bench]").select_option("sim:?paced")
    page.get_by_role("button", name="Prove this loom").click()
    expect(page.locator("#what")).to_have_text("checking the bench", timeout=PATIENCE_MS)
    page.reload()
    expect(page.locator("#what")).to_have_text("checking the bench")
    expect(page.locator("[data-state=waiting][data-end]").first).to_be_visible()
    expect(page.get_by_text("Stop is no emergency stop")).to_be_visible()
    page.goto(f"{server.base}/looms/tail_lamp")
    page.get_by_role("button", name="Prove this loom").click()
    expect(page.get_by_role("alert")).to_contain_text("a job runs already")
    page.goto(f"{server.base}/prove")
    expect(page.get_by_role("button", name="Stop")).to_be_visible()
    page.route("**/prove/stop", lambda route: route.abort(), times=1)  # given again until it has come
    page.keyboard.press("Escape")
    expect(page.locator("#failed")).to_contain_text("the run was stopped before its end", timeout=PATIENCE_MS)
    expect(page.locator("#unsent")).to_be_hidden()
    expect(page.locator("#verdict")).to_be_hidden()


def test_what_is_wrong_is_said_beside_the_form(page: Page, server: Server) -> None:
    page.goto(f"{server.base}/looms/tail_lamp")
    expect(page.get_by_role("button", name="Prove this loom")).to_be_visible()
    page.locator("select[name=adapter]").select_option("")
    page.evaluate(
        "document.querySelector('select[name=bench]')"
        ".add(new Option('tcp:127.0.0.1:9', 'tcp:127.0.0.1:9', true, true))"
    )
    page.get_by_role("button", name="Prove this loom").click()
    wrong = page.get_by_role("alert")
    expect(wrong).to_contain_text("a real bench wants an adapter table")
    expect(page.locator("input[name=person]")).to_be_visible()


def test_everything_is_reached_by_keyboard_and_fits_a_narrow_screen(page: Page, server: Server) -> None:
    for width in (1280, 820, 390):
        page.set_viewport_size({"width": width, "height": 900})
        for path in ("/", "/looms/tail_lamp", "/prove", "/runs"):
            page.goto(server.base + path)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            unnamed = page.evaluate(
                "[...document.querySelectorAll('button, input, select, a')]"
                ".filter(e => e.type !== 'hidden')"
                ".filter(e => !(e.textContent.trim() || e.ariaLabel || e.labels?.length)).length"
            )
            assert unnamed == 0, path
    page.goto(server.base)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the page"


def test_what_a_job_asks_is_answered_on_the_page(browser: Browser, folder: Path, tmp_path: Path) -> None:
    run = [sys.executable, "-m", "tests.web.questioning", str(folder), str(tmp_path)]
    with subprocess.Popen(run, stdout=subprocess.PIPE, text=True, cwd=LOOMS.parent) as asking:
        assert asking.stdout is not None
        try:
            address = asking.stdout.readline().strip()
            page = browser.new_context().new_page()
            page.set_default_timeout(PATIENCE_MS)
            page.goto(address)
            page.get_by_role("link", name="Prove").click()
            question = page.locator("#question")
            expect(question).to_contain_text("Is all of that done?")
            caution = question.get_by_text("Disconnect the battery.")  # what "that" is
            yes = question.get_by_role("button", name="Yes")
            expect(caution).to_be_visible()
            above, below = caution.bounding_box(), yes.bounding_box()
            assert above
            assert below
            assert above["y"] < below["y"]
            page.reload()
            page.route("**/prove/answer", lambda route: route.abort(), times=1)
            question.get_by_role("button", name="Yes").click()  # it does not come, and is said again
            expect(page.get_by_role("alert")).to_contain_text("did not reach the server. Press it again.")
            question.get_by_role("button", name="Yes").click()
            for asked, said in (("Type 500 to put 500 V", "500"), ("largest that the meter shows", "0,3")):
                expect(question).to_contain_text(asked)
                expect(question.get_by_label("Answer")).to_be_focused()
                page.keyboard.type(said)
                page.keyboard.press("Enter")
            expect(question).to_contain_text("Look the loom over.")
            question.get_by_label("Bent, pushed-back or missing pins").fill("LAMP:2 <bent>")
            question.get_by_role("button", name="Answer").click()
            question.get_by_role("button", name="It is off").click()
            expect(page.locator("#verdict")).to_be_visible()
            answers = json.loads(asking.stdout.readline())
        finally:
            asking.send_signal(signal.SIGINT)
            asking.communicate(timeout=60)
    assert answers[:3] == [True, True, 0.3]
    assert "pins: LAMP:2 <bent>" in answers[3]
    assert "seals: in order" in answers[3]
    assert answers[4] is True
