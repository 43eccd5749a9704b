"""Pages in a real browser when something goes wrong, and for everybody: killed, unplugged, offline, WCAG.

Debian's Chromium, driven by Playwright, and axe-core. A browser test waits for what a person would see.
"""

from __future__ import annotations

import importlib.util
import json
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

import pytest

from loomproof.jobs.archive import Archive
from loomproof.jobs.fitting import kept_beside
from loomproof.web.app import GETS
from tests.web.asking import LOOMS
from tests.web.test_browser import CHROMIUM, HOSTILE, PATIENCE_MS, Server, browser, entered
from tests.web.test_look import with_name

pytestmark = pytest.mark.skipif(not CHROMIUM, reason="the system package chromium is not installed")

if CHROMIUM:
    from playwright.sync_api import Browser, Page, expect

    expect.set_options(timeout=PATIENCE_MS)

__all__ = ["browser"]

AXE = importlib.util.find_spec("axe_playwright_python")
PAPERS = ("/certificate", "/label", "/sheet.pdf")
"""What is set as PDF takes its time, and is no page."""
OF_LAYOUT = ("color-contrast", "link-in-text-block", "scrollable-region-focusable", "target-size")
"""Rules of axe-core whose answer depends on colours or on the width."""
LONG = HOSTILE + "x" * (200 - len(HOSTILE))
"""A connector's name of 200 letters, without a place to break it."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("looms")
    shutil.copytree(LOOMS / "tail_lamp", folder / "tail_lamp")
    shutil.copytree(LOOMS / "hillclimb_engine", folder / "engine")
    shutil.copytree(LOOMS / "tail_lamp", folder / "long")
    with_name(folder / "long", "LAMP", LONG)
    return folder


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("out")


@pytest.fixture(scope="module")
def server(folder: Path, out: Path) -> Iterator[Server]:
    named = ("sim:?fault=open%20W2", "sim:")
    made = Server(str(folder), *(word for each in named for word in ("--bench", each)), out=out)
    yield made
    assert made.end() in (0, 3, 130)


@pytest.fixture(scope="module")
def page(browser: Browser, server: Server) -> Page:
    return entered(browser.new_context().new_page(), server)


def begin(page: Page, server: Server, loom: str, bench: str) -> None:
    page.goto(f"{server.base}/looms/{loom}")
    page.locator("select[name=bench]").select_option(bench)
    page.get_by_role("button", name="Prove this loom").click()


def test_names_of_200_letters_break_no_page(page: Page, server: Server) -> None:
    begin(page, server, "long", "sim:?fault=open%20W2")
    expect(page.locator("#verdict .said")).to_have_text("FAIL")
    run = page.locator("#verdict .go").get_attribute("href")
    page.set_viewport_size({"width": 390, "height": 800})
    for path in ("/looms/long", "/prove", run, "/fit/long"):
        page.goto(f"{server.base}{path}")
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, path
        assert LONG in page.content().replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&").replace(
            "&#34;", '"'
        ).replace("&#39;", "'"), page.locator("main").inner_text()
        assert page.locator("img, script:not([src])").count() == 0
        assert "taken" not in page.title()
    page.set_viewport_size({"width": 1280, "height": 900})


def test_back_and_on_again_find_what_is_so_and_prove_once_a_press(page: Page, server: Server) -> None:
    before = len(Archive(server.store).shelf().runs)
    begin(page, server, "tail_lamp", "sim:")
    expect(page.locator("#verdict .said")).to_have_text("PASS")
    page.go_back()
    expect(page.get_by_role("button", name="Prove this loom")).to_be_visible()
    page.go_forward()
    expect(page.locator("#verdict .said")).to_have_text("PASS")
    page.go_back()
    page.locator("select[name=bench]").select_option("sim:?fault=open%20W2")
    page.get_by_role("button", name="Prove this loom").dblclick()
    expect(page.locator("#verdict .said")).to_have_text("FAIL")
    assert len(Archive(server.store).shelf().runs) == before + 2


def test_a_phone_without_a_word_says_what_waits_and_sends_it_later(
    page: Page, server: Server, folder: Path
) -> None:
    page.set_viewport_size({"width": 390, "height": 800})
    page.goto(f"{server.base}/fit/tail_lamp")
    page.get_by_label("Who ticks").fill("I. Torvald")
    steps = page.locator("[data-step]")
    first, second = steps.nth(0), steps.nth(1)
    first.get_by_role("button").click()
    expect(first.locator(".when")).to_contain_text("I. Torvald")
    page.context.set_offline(True)
    second.get_by_role("button").click()
    expect(second.locator(".when")).to_have_text("ticked here, not kept yet")
    expect(page.locator("#word")).to_contain_text("No word from the server since")
    expect(page.locator("#word")).to_contain_text("1 tick waits on this device")
    expect(first.get_by_role("button")).to_have_attribute("aria-pressed", "true")
    kept = kept_beside(folder / "tail_lamp")
    assert len(kept.read_text(encoding="utf-8").splitlines()) == 1
    page.context.set_offline(False)
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(second.locator(".when")).to_contain_text("I. Torvald")
    expect(page.locator("#word")).to_be_empty()
    lines = [json.loads(line) for line in kept.read_text(encoding="utf-8").splitlines()]
    assert [line["step"] for line in lines] == [each.get_attribute("data-step") for each in (first, second)]
    page.reload()
    expect(second.get_by_role("button")).to_have_attribute("aria-pressed", "true")
    page.set_viewport_size({"width": 1280, "height": 900})


def test_a_bench_that_is_unplugged_in_mid_proof_is_told_and_claims_nothing(
    browser: Browser, folder: Path, tmp_path: Path
) -> None:
    """The simulator, in a process of its own at the pace of a real scanner, is killed."""
    run = [sys.executable, "-m", "loomproof.virtual", str(folder / "engine"), "--tcp", "0", "--paced"]
    with subprocess.Popen(run, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as scanner:
        assert scanner.stdout is not None
        bench = scanner.stdout.readline().strip()
        server = Server(str(folder), "--bench", bench, out=tmp_path)
        try:
            page = entered(browser.new_context().new_page(), server)
            page.goto(f"{server.base}/looms/engine")
            page.locator("select[name=adapter]").select_option("in-order")
            page.get_by_role("button", name="Prove this loom").click()
            expect(page.locator("#what")).to_have_text("checking the bench")
            scanner.kill()
            failed = page.locator("#failed")
            expect(failed).to_be_visible(timeout=PATIENCE_MS)
            expect(failed).to_contain_text("nothing is claimed")
            expect(page.locator("#verdict")).to_be_hidden()
            assert Archive(server.store).shelf().runs == ()
            page.context.close()
        finally:
            assert server.end() in (0, 3, 130)


def test_a_server_that_is_killed_in_mid_proof_says_so_when_it_is_back(
    browser: Browser, folder: Path, tmp_path: Path
) -> None:
    first = Server(str(folder), "--bench", "sim:?paced", out=tmp_path)
    page = entered(browser.new_context().new_page(), first)
    begin(page, first, "engine", "sim:?paced")
    expect(page.locator("#what")).to_have_text("checking the bench")
    first.process.send_signal(signal.SIGKILL)
    first.process.communicate(timeout=60)
    expect(page.locator("#lost")).to_be_visible(timeout=PATIENCE_MS)
    expect(page.locator("#lost")).to_contain_text("No word from the server")
    page.context.close()
    again = Server(str(folder), "--bench", "sim:?paced", out=tmp_path)
    try:
        page = entered(browser.new_context().new_page(), again)
        page.goto(f"{again.base}/prove")
        expect(page.locator("#idle")).to_contain_text("No job has run since the server was started")
        page.goto(f"{again.base}/runs")
        expect(page.get_by_role("heading", name="Broken off")).to_be_visible()
        page.context.close()
    finally:
        assert again.end() in (0, 3, 130)


SEEN: tuple[tuple[int, Literal["light", "dark"]], ...] = ((1280, "light"), (820, "dark"), (390, "light"))
"""Each width and each colours once: all six together take a third of the time of all browser tests."""


@pytest.mark.skipif(AXE is None, reason="the Python package axe-playwright-python is not installed")
def test_axe_finds_nothing_on_any_page_at_three_widths_light_and_dark(
    page: Page, server: Server, browser: Browser
) -> None:
    """All rules of axe-core, those of WCAG 2.2 A and AA (contrast among them) and its best practices."""
    assert AXE is not None
    assert AXE.origin is not None
    axe = (Path(AXE.origin).parent / "axe.min.js").read_text(encoding="utf-8")
    begin(page, server, "tail_lamp", "sim:?fault=open%20W2")
    expect(page.locator("#verdict .said")).to_have_text("FAIL")
    run = Archive(server.store).shelf().runs[-1].run.run
    pages = [path for path in GETS if not path.endswith(PAPERS)] + ["/nowhere"]
    paths = [path.replace("{loom}", "tail_lamp").replace("{run}", run) for path in pages]
    wrong: list[str] = []
    for path in paths:
        kind = page.request.get(server.base + path).headers["content-type"]
        if not kind.startswith("text/html"):
            continue
        page.goto(server.base + path)
        wrong += _violations(page, axe, path)
    page.goto(f"{server.base}/prove")
    page.get_by_role("button", name="Let somebody watch").click()
    expect(page.get_by_role("heading", name="Let somebody watch")).to_be_visible()
    wrong += _violations(page, axe, "/watchers")
    stranger = browser.new_context().new_page()
    stranger.goto(server.base)
    wrong += _violations(stranger, axe, "a stranger")
    stranger.context.close()
    assert not wrong, "\n".join(wrong)


def _violations(page: Page, axe: str, path: str) -> Iterator[str]:
    """Yield what axe-core finds wrong, each with its page, width and colours.

    All rules once; at other widths and colours those whose answer can be another there.
    """
    page.evaluate(axe)
    rules = ""
    for width, scheme in SEEN:
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size({"width": width, "height": 900})
        found: dict[str, Any] = page.evaluate(f"axe.run(document, {{ resultTypes: ['violations'] {rules} }})")
        rules = f", runOnly: {list(OF_LAYOUT)}"
        for each in found["violations"]:
            nodes = [node["html"][:160] for node in each["nodes"][:3]]
            yield f"{path}, {width}, {scheme}: {each['id']}, {each['help']}: {nodes}"
