"""At the probe and with the loom in motion, in a real browser against the real server.

Debian's Chromium, driven by Playwright. A browser test waits for what a person would see, and for no time.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order, read_adapter, write_adapter
from loomproof.loom.model import End
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from tests.naming.engine import engine, nameless
from tests.simulating import started
from tests.web.asking import LOOMS
from tests.web.test_browser import CHROMIUM, PATIENCE_MS, Server, browser, entered
from tests.web.test_look import HOSTILE, with_name
from tests.web.test_pages_hold import AXE

pytestmark = pytest.mark.skipif(not CHROMIUM, reason="the system package chromium is not installed")

if CHROMIUM:
    from playwright.sync_api import Browser, Locator, Page, expect

    expect.set_options(timeout=PATIENCE_MS)

__all__ = ["browser"]

LONG = "L" * 200
LOOSE = "sim:?fault=loose%20LAMP:2%204%20Hz"
COUNT_TONES = """
window.tones = 0;
const start = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (...args) { window.tones += 1; return start.apply(this, args); };
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The looms: a lamp's, one with a name that wants to be a script and a long one, one that is nameless."""
    folder = tmp_path_factory.mktemp("looms")
    shutil.copytree(LOOMS / "tail_lamp", folder / "lamp")
    shutil.copytree(LOOMS / "tail_lamp", folder / "hostile")
    with_name(folder / "hostile", "LAMP", HOSTILE)
    with_name(folder / "hostile", "EARTH", LONG)
    bare, _ = nameless(engine())
    write_folder(bare, folder / "found")
    write_adapter(in_order(bare.cavities), folder / "found" / "adapter.csv")
    return folder


@pytest.fixture(scope="module")
def server(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    made = Server(str(folder), "--bench", "sim:", "--bench", LOOSE, out=tmp_path_factory.mktemp("out"))
    yield made
    assert made.end() in (0, 3, 130)


@pytest.fixture(scope="module")
def page(browser: Browser, server: Server) -> Page:
    """The page of who drives; how many tones it was to sound is counted."""
    made = browser.new_context().new_page()
    made.add_init_script(COUNT_TONES)
    made.on("pageerror", lambda error: WRONG.append(str(error)))
    return entered(made, server)


WRONG: list[str] = []
"""What went wrong in scripts of the pages."""


@pytest.fixture(autouse=True)
def ended(page: Page, server: Server) -> Iterator[None]:
    """Leave no job behind, whatever a test came to."""
    yield
    page.goto(f"{server.base}/prove")
    page.request.post(f"{server.base}/prove/stop", headers={"origin": server.base})
    expect(page.locator("#progress")).to_be_hidden()
    assert not WRONG


def begun(page: Page, server: Server, loom: str, button: str) -> None:
    """Begin a job at the probe of a simulated bench, and wait until its probe can be held."""
    page.goto(f"{server.base}/touch")
    page.locator("section[aria-labelledby=begin]").get_by_role("link", name=loom, exact=True).click()
    page.get_by_role("button", name=button, exact=True).click()
    expect(page.locator("#faces button").first).to_be_enabled(timeout=PATIENCE_MS)


def cell(page: Page, end: End) -> Locator:
    return (
        page.locator("[data-at]")
        .filter(has=page.locator(":scope"))
        .and_(page.locator(f"[data-at={json.dumps(str(end))}]"))
    )


def hold(page: Page, end: End) -> None:
    cell(page, end).get_by_role("button").click()


def nothing_wrong(page: Page) -> None:
    """Have axe-core look at what stands there once a job has ended: while it looks a page gives no sign."""
    if AXE is None or AXE.origin is None:
        return
    page.evaluate((Path(AXE.origin).parent / "axe.min.js").read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
    assert not [(each["id"], each["nodes"][0]["html"]) for each in found["violations"]]


def lift(page: Page) -> None:
    page.get_by_role("button", name="Take the probe off").click()


def tones(page: Page) -> int:
    return int(page.evaluate("window.tones"))


def test_a_touch_lights_its_face_says_its_net_and_sounds(page: Page, server: Server) -> None:
    begun(page, server, "lamp", "Say what is touched")
    hold(page, End("LAMP", "6"))
    expect(page.locator("#ends")).to_have_text("LAMP:6  ·  EARTH:1")
    for end in (End("LAMP", "6"), End("EARTH", "1")):
        expect(cell(page, end)).to_contain_text("touched")
        expect(cell(page, end)).to_contain_text("◉")
    assert page.locator("[data-lit]").count() == 2
    net = page.get_by_role("article")
    for text in ("W6", "BN brown", "1.5 mm², 0.3 m", "For earth: earth of the lamp", "stud beside the lamp"):
        expect(net).to_contain_text(text)
    expect(page.locator("#which")).to_be_visible()
    expect(page.locator("#aloud")).to_contain_text("Wire W6, brown: LAMP:6 to EARTH:1.")
    assert tones(page) == 1
    expect(page.locator("#off")).to_be_hidden()

    page.get_by_role("button", name="Sound is on").click()
    lift(page)
    expect(page.locator("#off")).to_have_text("The probe is off this net. Touch the next end.")
    hold(page, End("BODY", "6"))
    expect(page.locator("#ends")).to_have_text("BODY:6")
    expect(page.locator("#off")).to_be_hidden()
    expect(page.locator("#before")).to_contain_text("LAMP:6, EARTH:1: earth")
    assert page.locator("[data-lit]").count() == 1
    assert tones(page) == 1
    page.get_by_role("button", name="Sound is off").click()

    page.reload()
    expect(page.locator("#ends")).to_have_text("BODY:6")
    lift(page)
    page.get_by_role("button", name="Done: end it").click()
    expect(page.locator("#verdict")).to_contain_text("2 touches told.")
    nothing_wrong(page)
    expect(page.locator("#failed")).to_be_hidden()


def test_names_stay_names_and_fit_when_they_are_touched(page: Page, server: Server) -> None:
    begun(page, server, "hostile", "Say what is touched")
    hold(page, End("BODY", "2"))
    expect(page.locator("#ends")).to_contain_text(str(End(HOSTILE, "2")))
    expect(cell(page, End(HOSTILE, "2"))).to_contain_text("◉")
    assert (page.title(), page.locator("img").count()) == ("Touch · loomproof", 0)
    for width in (1280, 820, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.set_viewport_size({"width": 1280, "height": 900})
    page.route("**/static/touch.js", lambda _: None)  # Stop stops before the page's script has come
    page.reload(wait_until="commit")
    page.get_by_role("button", name="Stop").click()
    page.unroute("**/static/touch.js")
    expect(page.locator("#failed")).to_contain_text("stopped before its end")


def test_an_adapter_is_learned_with_undo_and_skip_and_gone_on_with(page: Page, server: Server) -> None:
    begun(page, server, "lamp", "Learn the adapter")
    expect(page.locator("#question")).to_be_hidden()
    body = [End("BODY", str(number)) for number in range(1, 7)]
    asked = page.locator("#asked")

    def learn(end: End) -> None:
        expect(asked).to_have_text(f"Touch {end}")
        expect(cell(page, end)).to_contain_text("touch this one")
        hold(page, end)
        expect(page.locator("#learned")).to_contain_text(f"{end} is point")
        lift(page)

    learn(body[0])
    learn(body[1])
    expect(asked).to_have_text("Touch BODY:3")
    page.get_by_role("button", name="Take the last one back").click()
    learn(body[1])
    expect(asked).to_have_text("Touch BODY:3")
    page.keyboard.press("s")
    expect(cell(page, body[2])).to_contain_text("left out")
    learn(body[3])
    expect(cell(page, body[3])).to_contain_text("4")
    page.get_by_role("button", name="Done for now").click()
    expect(page.locator("#verdict")).to_contain_text("lamp.adapter.csv: 3 of 13 ends learned.")
    nothing_wrong(page)
    table = Path(server.store).parent / "lamp.adapter.csv"
    assert {str(lead.end): lead.point for lead in read_adapter(table).entries} == {
        "BODY:1": 1,
        "BODY:2": 2,
        "BODY:4": 4,
    }

    page.goto(f"{server.base}/touch/lamp")
    page.get_by_label("Table").select_option("lamp.adapter.csv")
    page.get_by_role("button", name="Learn the adapter").click()
    expect(asked).to_have_text("Touch BODY:3", timeout=PATIENCE_MS)
    expect(cell(page, body[3])).to_contain_text("✓")
    page.get_by_role("button", name="Stop").click()
    expect(page.locator("#verdict")).to_contain_text("3 of 13 ends learned.")


def test_the_ends_of_an_unknown_loom_are_named_by_touch_line_and_suggestion(
    page: Page, server: Server, folder: Path
) -> None:
    _, truth = nameless(engine())
    end_of = {real: end for end, real in truth.items()}
    begun(page, server, "found", "Name its ends")
    sensor = end_of[End("CTS", "1")]
    hold(page, sensor)
    expect(page.locator("#heading")).to_contain_text("a net of")
    expect(cell(page, sensor)).to_contain_text("the one that is meant")
    page.locator("#offers button").first.focus()  # what comes meanwhile takes no button from under a finger
    page.request.post(f"{server.base}/prove/say", headers={"origin": server.base}, data={"probe": None})
    expect(page.locator("#held")).to_have_text("The probe is off.")
    expect(page.locator("#offers button").first).to_be_focused()
    expect(page.locator("#net")).to_contain_text("Ω")
    page.locator("#offers button").first.click()
    expect(page.locator("#stands")).to_contain_text("CTS:1")
    expect(cell(page, sensor)).to_contain_text("CTS:1")
    page.get_by_role("button", name="Take the last answer back").click()
    expect(page.locator("#stands")).to_contain_text("has no name again")

    page.get_by_role("button", name="Next nameless end").click()
    line = page.locator("#typed")
    line.press_sequentially("2nd<b>:1 RD")
    expect(page.locator("#meant")).to_contain_text("2nd<b>:1")
    page.keyboard.press("Enter")
    expect(page.locator("#stands")).to_contain_text("is 2nd<b>:1")
    expect(line).to_have_value("")
    page.get_by_role("button", name="Done for now").click()
    expect(page.locator("#verdict")).to_contain_text("1 touch and 1 answer today")
    nothing_wrong(page)
    assert "2nd<b>" in load(folder / "found").loom.by_name


def test_each_break_of_a_watch_is_a_mark_that_stays(page: Page, server: Server) -> None:
    page.goto(f"{server.base}/wiggle")
    page.get_by_role("link", name="lamp", exact=True).click()
    page.get_by_label("Bench").select_option(LOOSE)
    page.get_by_label("For how long").select_option("1 h")
    page.get_by_role("button", name="Watch it").click()
    marks = page.locator("#marks tr")
    expect(marks.nth(1)).to_be_visible(timeout=PATIENCE_MS)
    before = tones(page)
    page.route("**/prove/say", lambda route: route.abort(), times=1)
    page.keyboard.press("2")
    expect(page.get_by_role("alert")).to_contain_text("did not reach the server. Press it again.")
    page.keyboard.press("2")
    expect(page.get_by_role("button", name="2 LAMP")).to_have_attribute("aria-pressed", "true")
    expect(marks.filter(has_text="ms").filter(has_text="LAMP:2").first).to_be_visible()
    expect(page.locator("#latest")).to_contain_text("LAMP:2")
    expect(page.locator("#likely")).to_contain_text("Net BODY:2, LAMP:2 (W2)")
    expect(page.locator("#likely")).to_contain_text("the contact of LAMP:2")
    expect(marks.locator("td:nth-child(7)").filter(has_text="LAMP").first).to_be_visible()
    page.wait_for_function(f"window.tones > {before}")
    lane = page.locator(".lane").filter(has_text="BODY:2, LAMP:2")
    expect(lane.locator(".mark.break").first).to_have_text("B")
    expect(page.locator(".lane").filter(has_text="BODY:1")).to_contain_text("steady")
    page.get_by_label("Only nets on which something was seen").check()
    expect(page.locator(".lane").filter(has_text="BODY:1")).to_be_hidden()
    for width in (820, 390, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width

    page.keyboard.press("Escape")
    expect(page.locator("#verdict")).to_contain_text("Stopped by hand after", timeout=PATIENCE_MS)
    expect(page.locator("#failed")).to_be_hidden()
    expect(page.locator("#latest")).to_be_hidden()
    expect(page.locator("#moves")).to_be_hidden()
    seen = marks.count()
    nothing_wrong(page)
    expect(page.locator("#verdict")).to_contain_text(f"{seen} changes seen")
    expect(page.locator("#table")).to_contain_text("the contact of LAMP:2")
    figures = page.request.get(f"{server.base}/wiggle/figures").json()
    assert len(figures["seen"]) == seen
    assert figures["moved_s"].keys() == {"LAMP"}
    assert "<svg" in page.request.get(f"{server.base}/wiggle/picture").text()
    page.reload()
    expect(marks.first).to_be_visible()
    assert marks.count() == seen


def test_loose_ends_are_asked_for_one_by_one_and_lit(browser: Browser, folder: Path, tmp_path: Path) -> None:
    """The earth ring has no lead: a person, here the simulator's own probe, holds it on."""
    loom = load(folder / "lamp").loom
    table = tmp_path / "leads.csv"
    write_adapter(in_order([end for end in loom.cavities if end.connector != "EARTH"]), table)
    simulation = started(folder / "lamp", ["--adapter", str(table)], tcp=True)
    server = Server(str(folder), "--bench", str(simulation.address), "--adapter", str(table), out=tmp_path)
    try:
        page = browser.new_context().new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.goto(server.address)
        page.goto(f"{server.base}/looms/lamp")
        page.get_by_text("How it is proved").click()
        page.get_by_label("Read each end that has no point with a probe").check()
        page.get_by_role("button", name="Prove this loom").click()
        question, asked = page.locator("#question"), []
        while True:
            there = page.locator("#question:not([hidden]), #verdict:not([hidden]), #failed:not([hidden])")
            expect(there.first).to_be_visible()
            if not question.is_visible():
                break
            number = question.get_attribute("data-number")
            if "Hold the probe" in question.inner_text():
                cell = page.locator("[data-end]").filter(has=page.locator(".asked"))
                asked.append(str(cell.get_attribute("data-end")))
                assert simulation.tell(f"touch {asked[-1]}").startswith("ok")
            elif "Take the probe off" in question.inner_text():
                simulation.tell("lift")
            question.get_by_role("button").first.click()
            page.wait_for_function(
                "number => document.getElementById('question').dataset.number !== number", arg=number
            )
        assert "EARTH:1" in asked
        expect(page.locator("#verdict .said")).to_have_text("PASS")
        assert page.locator(".asked").count() == 0
        page.context.close()
    finally:
        simulation.end()
        assert server.end() in (0, 3, 130)


def test_everything_there_has_a_name_and_is_reached_by_keyboard(page: Page, server: Server) -> None:
    for path in ("/touch", "/touch/lamp", "/wiggle", "/wiggle/lamp"):
        page.goto(server.base + path)
        for width in (1280, 820, 390):
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
        unnamed = page.evaluate(
            "[...document.querySelectorAll('button, input, select, a')]"
            ".filter(e => e.type !== 'hidden' && e.checkVisibility())"
            ".filter(e => !(e.textContent.trim() || e.ariaLabel || e.labels?.length)).length"
        )
        assert unnamed == 0, path
