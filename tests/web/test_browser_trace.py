"""An unknown loom traced from a page, in a real browser against the real server and a simulator of its own.

Debian's Chromium, driven by Playwright. A browser test waits for what a person would see, and for no time.
"""

from __future__ import annotations

import base64
import shutil
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from loomproof.bench.opening import open_bench
from loomproof.bench.simulation import Simulation
from tests.simulating import started
from tests.web.asking import LOOMS
from tests.web.test_browser import CHROMIUM, PATIENCE_MS, Server, browser, entered
from tests.web.test_browser_hands import nothing_wrong
from tests.web.test_browser_looms import DROP
from tests.web.tracing import cavities, joined, table

pytestmark = pytest.mark.skipif(not CHROMIUM, reason="the system package chromium is not installed")

if CHROMIUM:
    from playwright.sync_api import Browser, Page, expect

    expect.set_options(timeout=PATIENCE_MS)

__all__ = ["browser"]

ENGINE = LOOMS / "hillclimb_engine"


@pytest.fixture(scope="module")
def quick() -> Iterator[Simulation]:
    running = started(ENGINE, tcp=True)
    yield running
    running.end()


@pytest.fixture(scope="module")
def paced() -> Iterator[Simulation]:
    """One that takes the time of a real scanner."""
    running = started(ENGINE, ["--paced"], tcp=True)
    yield running
    running.end()


def serving(looms: Path, out: Path, quick: Simulation, paced: Simulation) -> Server:
    return Server(str(looms), "--bench", str(quick.address), "--bench", str(paced.address), out=out)


def chosen(page: Page, server: Server, called: str) -> None:
    """Say what is on the bench, by a table that is dropped, and come to the form of the bench."""
    page.goto(f"{server.base}/trace")
    page.get_by_label("What to call the loom").fill(called)
    page.evaluate(DROP, [base64.b64encode(table(cavities(ENGINE))).decode(), "leads.csv"])
    expect(page.get_by_role("heading", name=called)).to_be_visible()


def test_a_dropped_table_a_bench_and_the_loom_is_there_with_its_questions(
    browser: Browser, tmp_path: Path, quick: Simulation, paced: Simulation
) -> None:
    shutil.copytree(ENGINE, tmp_path / "looms" / "diagram")
    server = serving(tmp_path / "looms", tmp_path, quick, paced)
    try:
        page = entered(browser.new_context().new_page(), server)
        page.get_by_role("link", name="Have it traced").click()
        page.get_by_label("What to call the loom").fill("found")
        page.get_by_role("button", name="Go on to the bench").click()
        expect(page.get_by_role("alert")).to_contain_text("nothing says which connectors and cavities")
        expect(page.get_by_label("What to call the loom")).to_have_value("found")
        chosen(page, server, "found")
        page.locator("select[name=bench]").select_option(str(quick.address))
        nothing_wrong(page)
        page.get_by_role("button", name="Trace it").dblclick()
        expect(page.locator("#verdict .said")).to_have_text("Traced")
        lines = page.locator("#verdict .lines")
        expect(lines).to_contain_text("What only its owner can tell")
        expect(lines).to_contain_text("is it a diode")
        expect(page.locator("#told")).to_contain_text("Disconnect and remove the battery")
        nothing_wrong(page)
        page.get_by_role("link", name="Look at it").click()
        expect(page.get_by_role("heading", name="found")).to_be_visible()
        assert joined(tmp_path / "looms" / "found") == joined(ENGINE)

        page.goto(f"{server.base}/merge")
        page.get_by_label("Loom that was traced").select_option("found")
        page.get_by_label("Description of it").select_option("diagram")
        page.get_by_label("What to call both together").fill("both")
        page.get_by_role("button", name="Lay it over").click()
        expect(page.get_by_role("status")).to_contain_text("both: ")
        assert joined(tmp_path / "looms" / "both") == joined(ENGINE)
        page.get_by_role("link", name="Look at it").click()
        expect(page.locator("#wires")).to_contain_text("RD/YE")

        chosen(page, server, "another")
        form = page.url
        for path in (f"{server.base}/trace", form, f"{server.base}/merge"):
            page.goto(path)
            for width in (1280, 820, 390):
                page.set_viewport_size({"width": width, "height": 900})
                assert page.evaluate("document.documentElement.scrollWidth") <= width, (path, width)
        page.context.close()
    finally:
        assert server.end() in (0, 3, 130)


def test_stop_and_a_killed_server_leave_no_loom_behind_and_nothing_driven(
    browser: Browser, tmp_path: Path, quick: Simulation, paced: Simulation
) -> None:
    (tmp_path / "looms").mkdir()
    server = serving(tmp_path / "looms", tmp_path, quick, paced)
    page = entered(browser.new_context().new_page(), server)
    chosen(page, server, "found")
    form = page.url
    for ending in ("stopped", "killed"):
        page.goto(form)
        page.locator("select[name=bench]").select_option(str(paced.address))
        page.get_by_role("button", name="Trace it").click()
        expect(page.locator("#what")).not_to_have_text("Beginning")
        expect(page.locator("#what")).not_to_have_text("A job runs")
        if ending == "stopped":
            page.get_by_role("button", name="Stop").click()
            failed = page.locator("#failed")
            expect(failed).to_contain_text("stopped before its end; nothing is claimed from it")
            expect(failed).to_contain_text("Trace it again.")
        else:
            server.process.send_signal(signal.SIGKILL)
            server.process.communicate(timeout=60)
            expect(page.locator("#lost")).to_be_visible()
        with open_bench(str(paced.address)) as bench:  # released, and free for the next host
            assert bench.sense([0]) == [0]
        assert [path.name for path in (tmp_path / "looms").iterdir() if path.is_dir()] == []
    page.context.close()

    again = serving(tmp_path / "looms", tmp_path, quick, paced)
    try:
        page = entered(browser.new_context().new_page(), again)
        page.goto(f"{again.base}/runs")
        broken = page.get_by_role("region", name="Broken off")
        expect(broken.get_by_role("row").filter(has_text="found")).to_have_count(2)
        expect(broken).to_contain_text("Begin it again.")
        page.goto(form.replace(server.base, again.base))
        page.locator("select[name=bench]").select_option(str(quick.address))
        page.get_by_role("button", name="Trace it").click()
        expect(page.locator("#verdict .said")).to_have_text("Traced")
        assert joined(tmp_path / "looms" / "found") == joined(ENGINE)
        page.context.close()
    finally:
        assert again.end() in (0, 3, 130)
