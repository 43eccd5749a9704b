"""How heavy and how fast the pages are: first view, 2 048 cavities live, an hour of watching.

    python -m tests.figures web [--short]

Debian's Chromium against the real server in a process of its own. A cavity is on the screen in the frame
after its cell has changed. Memory is that of the server's process and of the browser's page (its heap after a
collection, and its process) between the first twentieth of the hour and its end; the hour's events are told
in about a minute. Exits with 1 where a figure that must be reached is missed, with 2 without Chromium.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.figures.size import write_loom
from tests.results import table_file

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or ""
ROOT = Path(__file__).parents[2]
MOST_KB, MOST_S, LEAST_FRAMES, MOST_MS, MOST_MB = 150, 0.5, 30, 200, 20
WIRES = 1140
"""A loom of so many wires has 2 080 cavities, in 40-way plugs."""

VIEW = """() => {
  const parts = [performance.getEntriesByType('navigation')[0], ...performance.getEntriesByType('resource')];
  return [parts.reduce((sum, part) => sum + part.transferSize, 0), parts[0].loadEventEnd];
}"""
WATCH = """() => {
  window.shown = {};
  window.frames = [];
  let changed = new Set();
  const frame = (now) => {
    window.frames.push(now);
    for (const end of changed) window.shown[end] = performance.timeOrigin + now;
    changed = new Set();
    requestAnimationFrame(frame);
  };
  requestAnimationFrame(frame);
  new MutationObserver((all) => {
    for (const { target } of all) if (target.dataset.state === 'measured') changed.add(target.dataset.end);
  }).observe(document.getElementById('faces'), { subtree: true, attributeFilter: ['data-state'] });
}"""


class Flood:
    """The server of `web_flood`, and its page at the bench."""

    def __init__(self, browser: Browser, looms: Path, out: Path) -> None:
        words = [sys.executable, "-m", "tests.figures.web_flood", str(looms), str(out)]
        self.process = subprocess.Popen(
            words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT
        )
        address = self.line()
        self.base = address.partition("/enter")[0]
        self.page: Page = browser.new_context().new_page()
        self.page.set_default_timeout(600_000)
        self.page.goto(address)
        self.page.wait_for_selector("h2")

    def line(self) -> str:
        """Return the next line that it prints."""
        assert self.process.stdout is not None
        return self.process.stdout.readline().strip()

    def order(self, words: str) -> None:
        """Have it begin a job."""
        assert self.process.stdin is not None
        self.process.stdin.write(words + "\n")
        self.process.stdin.flush()

    def end(self) -> None:
        """Stop it."""
        self.process.send_signal(signal.SIGINT)
        self.process.wait(timeout=60)
        self.page.context.close()


def first_view(flood: Flood, path: str, times: int) -> tuple[float, float, float]:
    """Return what a page brings, kB, the median time until it is loaded, s, and the server's work for it, s.

    No file is kept between. The work is processor time, which a busy machine lengthens less.
    """
    page, address, worked_s = flood.page, flood.base + path, _cpu_s(flood.process.pid)
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    session.send("Network.setCacheDisabled", {"cacheDisabled": True})
    found = []
    for _ in range(times):
        page.goto(address, wait_until="load")
        _until(page, "performance.getEntriesByType('navigation')[0].loadEventEnd > 0")
        found.append(page.evaluate(VIEW))
        assert page.locator("h1").inner_text() != "Not done", address
    session.detach()
    worked_s = (_cpu_s(flood.process.pid) - worked_s) / times
    return max(size for size, _ in found) / 1000, statistics.median(ms for _, ms in found) / 1000, worked_s


def live(flood: Flood) -> tuple[int, int, float, float, float]:
    """Return cavities, frames in the worst second, longest frame; median and longest way to screen, ms."""
    page = flood.page
    page.goto("about:blank")
    flood.order("big")
    page.goto(f"{flood.base}/prove")
    page.wait_for_selector("#faces [data-state=waiting]")
    page.evaluate(WATCH)
    flood.order("go")
    told_s: dict[str, float] = json.loads(flood.line())
    page.wait_for_selector("#verdict:not([hidden])")
    shown: dict[str, float] = page.evaluate("window.shown")
    frames: list[float] = page.evaluate("window.frames")
    first, last = min(shown.values()), max(shown.values())
    begun: float = page.evaluate("performance.timeOrigin")
    frames = [at for at in frames if first - begun <= at <= last - begun]
    worst = min(
        sum(start <= at < start + 1000 for at in frames) for start in frames if start + 1000 <= frames[-1]
    )
    longest = max(b - a for a, b in pairwise(frames))
    assert set(shown) == set(told_s), "a cavity was told and never shown"
    ways = [shown[end] - 1000 * told_s[end] for end in told_s]
    return len(ways), worst, longest, statistics.median(ways), max(ways)


def hour(flood: Flood, seconds: int) -> tuple[float, float, float]:
    """Return by how much server, page's heap and page's process grow over an hour's events, MB."""
    page = flood.page
    session = page.context.new_cdp_session(page)
    page.goto("about:blank")  # a page of the job before would load itself anew
    flood.order(f"hour {seconds}")
    page.goto(f"{flood.base}/wiggle")
    _until(page, "document.getElementById('what').textContent === 'waiting for the page'")
    flood.order("go")
    _until(page, f"Number(document.querySelector('#marks tr td')?.textContent) > {seconds // 20}")
    before = _held(flood, session)
    flood.line()
    after = _held(flood, session)
    shown = page.locator("#marks tr").first.locator("td").first.inner_text()
    assert int(shown) == seconds, f"the last mark on the page is {shown}"
    session.detach()
    return after[0] - before[0], after[1] - before[1], after[2] - before[2]


def _until(page: Page, holds: str) -> None:
    """Wait until something holds on a page, whose policy lets nothing be evaluated in it by itself."""
    while not page.evaluate(holds):
        page.wait_for_timeout(20)


def _held(flood: Flood, session: Any) -> tuple[float, float, float]:
    session.send("HeapProfiler.collectGarbage")
    heap = session.send("Runtime.getHeapUsage")["usedSize"] / 1e6
    renderers = sum(_rss_mb(pid) for pid in _children(os.getpid()) if b"--type=renderer" in _words(pid))
    return _rss_mb(flood.process.pid), heap, renderers


def _rss_mb(pid: int) -> float:
    text = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    return next(int(line.split()[1]) for line in text.splitlines() if line.startswith("VmRSS")) * 1024 / 1e6


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _words(pid: int) -> bytes:
    return Path(f"/proc/{pid}/cmdline").read_bytes()


def _children(pid: int) -> list[int]:
    """Return the processes below one."""
    below: dict[int, list[int]] = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = int(path.read_text(encoding="utf-8").rpartition(")")[2].split()[1])
        except OSError:  # it has ended meanwhile
            continue
        below.setdefault(parent, []).append(int(path.parent.name))
    found, left = [], [pid]
    while left:
        own = below.get(left.pop(), [])
        found += own
        left += own
    return found


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, show the table, and say whether the figures are reached."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="a tenth of the hour, of which nothing is kept")
    options = parser.parse_args(argv)
    if not CHROMIUM:
        print("the system package chromium is not installed")
        return 2
    from playwright.sync_api import sync_playwright

    begun = time.monotonic()
    rows = ["| what | figure | must reach | |", "| --- | ---: | ---: | --- |"]
    reached = True

    def row(what: str, figure: float, unit: str, limit: float, *, least: bool = False) -> None:
        nonlocal reached
        good = figure >= limit if least else figure < limit
        reached &= good
        sign = "at least" if least else "under"
        rows.append(
            f"| {what} | {figure:.3g} {unit} | {sign} {limit:g} {unit} | {'' if good else '**missed**'} |"
        )

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        looms, out = Path(folder) / "looms", Path(folder) / "out"
        out.mkdir()
        write_loom(looms / "big", WIRES, 1)
        shutil.copytree(ROOT / "fixtures" / "hillclimb_engine", looms / "watched")
        root = hasattr(os, "geteuid") and os.geteuid() == 0
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox"] if root else [], timeout=60_000
        )
        flood = Flood(browser, looms, out)
        try:
            for path in ("/", "/looms/watched", "/fit/watched", "/runs"):
                size, seconds, worked_s = first_view(flood, path, 3 if options.short else 9)
                row(f"first view of {path}: size", size, "kB", MOST_KB)
                row(f"first view of {path}: time", seconds, "s", MOST_S)
                rows.append(f"| first view of {path}: the server's own work | {worked_s:.2f} s | - | |")
            count, worst, longest, median, most = live(flood)
            row(f"{count} cavities live: frames in the worst second", worst, "/s", LEAST_FRAMES, least=True)
            rows.append(f"| {count} cavities live: longest frame | {longest:.0f} ms | - | |")
            rows.append(f"| {count} cavities live: reading to screen, median | {median:.0f} ms | - | |")
            row(f"{count} cavities live: reading to screen, longest", most, "ms", MOST_MS)
            told = 360 if options.short else 3600
            server, heap, process = hour(flood, told)
            row(f"{told} s of watching: the server grows", server, "MB", MOST_MB)
            row(f"{told} s of watching: the page's heap grows", heap, "MB", MOST_MB)
            row(f"{told} s of watching: the page's process grows", process, "MB", MOST_MB)
        finally:
            flood.end()
            browser.close()
    load = ", ".join(f"{each:.1f}" for each in os.getloadavg())
    rows += ["", f"Load of the machine at the end (1, 5, 15 min): {load}."]
    table_file("figures", "web", rows, time.monotonic() - begun, short=options.short)
    return 0 if reached else 1


if __name__ == "__main__":
    sys.exit(main())
