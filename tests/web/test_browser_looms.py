"""Looking at looms, bringing and keeping them, in a real browser against the real server.

Debian's Chromium, driven by Playwright. A browser test waits for what a person would see, and for no time.
"""

from __future__ import annotations

import base64
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from loomproof.electrics.nets import nets_of
from loomproof.jobs.looked import looked
from loomproof.loom.model import End
from loomproof.loom.reading import load
from tests.web.asking import LOOMS
from tests.web.test_browser import CHROMIUM, Server, browser
from tests.web.test_look import HOSTILE, with_name

pytestmark = pytest.mark.skipif(not CHROMIUM, reason="the system package chromium is not installed")

if CHROMIUM:
    from playwright.sync_api import Browser, Page, Route, expect

__all__ = ["browser"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The looms: an engine's, one in which every name wants to be a script, and one that is wrong."""
    folder = tmp_path_factory.mktemp("looms")
    shutil.copytree(LOOMS / "hillclimb_engine", folder / "engine")
    for name, old, new in (("hostile", "LAMP", HOSTILE), ("wrong", "BK/RD", "QQ")):
        shutil.copytree(LOOMS / "tail_lamp", folder / name)
        with_name(folder / name, old, new)
    with_name(folder / "hostile", "W2", f"{HOSTILE}2")
    return folder


@pytest.fixture(scope="module")
def server(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    benches = ("--bench", "sim:?fault=open%20W2", "--bench", "sim:")
    made = Server(str(folder), *benches, out=tmp_path_factory.mktemp("out"))
    yield made
    assert made.end() in (0, 3, 130)


@pytest.fixture(scope="module")
def page(browser: Browser, server: Server) -> Page:
    """The page of who drives, with a mouse and a touch screen."""
    made = browser.new_context(has_touch=True).new_page()
    made.set_default_timeout(20_000)
    made.goto(server.address)
    expect(made.get_by_role("heading", name="Looms")).to_be_visible()
    return made


def lit(page: Page) -> tuple[set[str], set[str]]:
    """Return the wires and the cavities that are lit."""
    wires, ends = page.evaluate(
        "[[...new Set([...document.querySelectorAll('#drawing .lit')].map(e => e.dataset.wire))],"
        "[...document.querySelectorAll('.plug .lit')]"
        ".map(e => e.closest('.plug').dataset.connector + ':' + e.dataset.cavity)]"
    )
    return set(wires), set(ends)


def test_a_wire_that_is_pointed_at_lights_its_net_and_its_ends(page: Page, server: Server) -> None:
    """By the mouse, by a finger and by the keyboard alone; the net is that of the electrics room."""
    loom = load(LOOMS / "hillclimb_engine").loom
    net = next(net for net in nets_of(loom) if "W3" in net.wires)
    wanted = set(net.wires), {str(end) for end in net.cavities}
    assert len(net.wires) > 1
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(f"{server.base}/looms/engine/look")
    assert lit(page) == (set(), set())
    row = page.locator('#drawing [data-wire="W3"][data-end]').first
    row.hover()
    assert lit(page) == wanted
    expect(page.locator("#said")).to_contain_text("Its net: ")
    page.mouse.move(2, 2)
    assert lit(page) == (set(), set())
    row.tap()
    assert lit(page) == wanted
    page.keyboard.press("Escape")
    assert lit(page) == (set(), set())
    page.get_by_role("button", name="W3", exact=True).focus()
    assert lit(page) == wanted
    page.locator("#drawing").focus()
    page.keyboard.press("ArrowDown")
    assert page.locator("#wires tr.picked").get_attribute("data-wire") == loom.wires[0].name
    page.locator('.plug[data-connector="FUSES"] [data-cavity="4A"]').tap()
    assert lit(page) == wanted


@pytest.mark.parametrize(
    ("said", "where", "wires"),
    [
        ("w3", "wire", lambda w: "w3" in w.name.lower()),
        ("FUSES:4a", "cavity", lambda w: "FUSES:4A" in map(str, w.ends)),
        ("30", "cavity", lambda w: "30" in (w.a.cavity, w.b.cavity)),
        ("rd/ye", "colour", lambda w: "RD/YE" in w.colour),
        ("injector-1", "circuit", lambda w: "injector-1" in w.circuit),
        ("fuses", "connector", lambda w: "FUSES" in (w.a.connector, w.b.connector)),
    ],
)
def test_wires_are_found(page: Page, server: Server, said: str, where: str, wires: object) -> None:
    assert callable(wires)
    loom = load(LOOMS / "hillclimb_engine").loom
    if not page.url.endswith("/engine/look"):
        page.goto(f"{server.base}/looms/engine/look")
    page.locator("#in").select_option(where)
    page.locator("#words").fill(said)
    shown = page.locator("#wires tbody tr:visible")
    expected = [wire.name for wire in loom.wires if wires(wire)]
    assert expected
    expect(page.locator("#hits")).to_have_text(f"{len(expected)} of {len(loom.wires)} wires")
    assert [row.get_attribute("data-wire") for row in shown.all()] == expected


DROP = """([text, name]) => {
    const dataTransfer = new DataTransfer();
    dataTransfer.items.add(new File([Uint8Array.from(atob(text), (c) => c.charCodeAt(0))], name));
    const dropped = new DragEvent("drop", { dataTransfer, cancelable: true, bubbles: true });
    document.querySelector("[data-drop]").dispatchEvent(dropped);
}"""
"""Drops a file on the form that takes one: its bytes in base 64, and what it is called."""

EARLY = """
sent = 0;
window.addEventListener("submit", (event) => {
    sent += event.defaultPrevented ? 0 : 1;
    event.preventDefault();
});
new MutationObserver((_, seen) => {
    const field = document.querySelector("[data-drop] input[type=file]");
    const once = document.querySelector("[data-once]");
    if (!field && !once) return;
    seen.disconnect();
    once?.click();
    once?.click();
    const dataTransfer = new DataTransfer();
    dataTransfer.items.add(new File(["wire,from,to"], "early.csv"));
    field?.dispatchEvent(new DragEvent("drop", { dataTransfer, bubbles: true, cancelable: true }));
}).observe(document, { childList: true, subtree: true });
"""
"""Presses what begins something twice, and drops a file, as soon as they are on the page."""


def test_what_is_pressed_or_dropped_as_a_page_comes_is_sent_once(page: Page, server: Server) -> None:
    early = page.context.new_page()
    early.add_init_script(EARLY)
    for path in ("/looms/engine", "/touch/engine", "/wiggle/engine", "/"):
        early.goto(server.base + path)
        early.wait_for_function("sent > 0")
        assert early.evaluate("sent") == 1, path
    assert early.evaluate("document.querySelector('[data-drop] input').files[0].name") == "early.csv"
    early.close()


def test_a_search_and_a_press_before_the_drawings_own_file_has_come(page: Page, server: Server) -> None:
    late: list[Route] = []
    page.route("**/static/look.js", lambda route: late.append(route))
    page.goto(f"{server.base}/looms/engine/look", wait_until="commit")
    page.locator("#words").fill("w3")
    page.locator("#words").press("Enter")
    expect(page.get_by_role("button", name="Larger")).to_be_disabled()
    late.pop().continue_()
    page.unroute("**/static/look.js")
    expect(page.locator("#hits")).to_contain_text("of")
    expect(page.locator("#words")).to_have_value("w3")
    page.locator("#words").press("Enter")
    expect(page.locator("#drawing")).to_be_focused()


def test_the_drawing_is_sized(page: Page, server: Server) -> None:
    page.goto(f"{server.base}/looms/engine/look")
    svg = page.locator("#drawing > svg")
    page.get_by_role("button", name="Full size").click()
    width = float(svg.get_attribute("width") or 0)
    page.get_by_role("button", name="Larger").click()
    assert float(svg.get_attribute("width") or 0) == pytest.approx(width * 1.25)
    page.get_by_role("button", name="All of it").click()
    assert page.evaluate("(e => e.scrollWidth <= e.clientWidth)(document.getElementById('drawing'))")


def test_names_that_want_to_be_scripts_stay_names_when_lit(page: Page, server: Server) -> None:
    page.goto(f"{server.base}/looms/hostile/look")
    page.get_by_role("button", name=f"{HOSTILE}2").click()
    expect(page.locator("#said")).to_contain_text(str(End(HOSTILE, "2")))
    wires, ends = lit(page)
    assert f"{HOSTILE}2" in wires
    assert f"{HOSTILE}:2" in ends
    assert page.title().startswith("Look at ")
    assert page.locator("main script, svg script").count() == 0


def test_what_is_wrong_is_shown_in_its_row(page: Page, server: Server) -> None:
    page.goto(f"{server.base}/looms/wrong/look")
    problem = page.locator(".beside.bad").first
    expect(problem.locator("td.here")).to_contain_text("QQ")
    expect(problem).to_contain_text("wires.csv, row")


def proved(page: Page, server: Server, bench: str) -> None:
    page.goto(f"{server.base}/looms/engine")
    page.locator("select[name=bench]").select_option(bench)
    page.get_by_label("Who proves it").fill("I. Torvald")
    page.get_by_role("button", name="Prove this loom").click()
    expect(page.locator("#verdict")).to_be_visible(timeout=60_000)


def test_steps_are_ticked_a_retest_stands_beside_its_run_and_the_shelf_finds_the_loom(
    page: Page, server: Server, tmp_path: Path
) -> None:
    proved(page, server, "sim:?fault=open%20W2")
    page.locator("#verdict .go").click()
    run = page.url.rpartition("/")[2]
    step = page.locator("[data-look]").first
    words = step.get_attribute("value")
    step.check()
    expect(page.locator(".when").first).to_contain_text("ticked 2")
    page.reload()
    expect(page.locator("[data-look]").first).to_be_checked()
    (kept,) = looked(Path(server.store).parent, run).values()
    assert (kept.finding, kept.place) == (1, words)

    page.locator("select[name=bench]").select_option("sim:")
    page.get_by_role("button", name="Retest").click()
    expect(page.locator("#title")).to_contain_text("Retest after")
    expect(page.locator("#verdict")).to_be_visible(timeout=60_000)
    page.locator("#verdict .go").click()
    expect(page.get_by_role("heading", name="Finding 1 is not seen")).to_be_visible()
    before = page.get_by_role("region", name="Before, face 1 of finding 1").locator("desc")
    after = page.get_by_role("region", name="After, face 1 of finding 1").locator("desc")
    expect(before).to_contain_text("(fault here)")
    expect(after).not_to_contain_text("(fault here)")

    late: list[Route] = []
    page.route("**/static/keep.js", lambda route: late.append(route))
    page.get_by_role("link", name="Keep").click()
    page.locator("#words").fill("nobody")  # before the page's own script has come
    expect(page.locator("#hits")).to_have_text("1 loom")
    late.pop().continue_()
    page.unroute("**/static/keep.js")
    expect(page.locator("#hits")).to_have_text("0 looms")
    page.route("**/kept?*", lambda route: route.abort(), times=1)
    page.locator("#words").fill("torvald")
    expect(page.locator("#hits")).to_contain_text("no word from the server")
    page.locator("#words").fill("torvald fail")
    row = page.locator("#looms tbody tr")
    expect(row).to_have_count(1)
    expect(row).to_contain_text("FAIL (1)")
    expect(row.get_by_role("link", name=f"Label of {run}")).to_be_visible()

    paper = tmp_path / "handed over.pdf"
    paper.write_bytes(page.request.get(f"{server.base}/runs/{run}/certificate").body())
    page.evaluate(DROP, [base64.b64encode(paper.read_bytes()).decode(), "<i>handed over.pdf"])
    expect(page.locator("#checked")).to_contain_text("<i>handed over.pdf: genuine")
    expect(page.locator("#checked")).to_contain_text("FAIL")


def test_a_list_is_dropped_understood_asked_about_and_kept(page: Page, server: Server, folder: Path) -> None:
    rows = f"wire,from,to,length\nW1,A:1,B:1,1200\nW2,A:2,{HOSTILE.replace(',', '')}:2,800\n"
    page.goto(server.base)
    page.context.set_offline(True)
    page.evaluate(DROP, [base64.b64encode(rows.encode()).decode(), "<i>pair.csv"])
    expect(page.get_by_role("alert")).to_contain_text("Not sent: no word from the server.")
    page.context.set_offline(False)
    page.get_by_role("button", name="Read it").click()
    expect(page.get_by_role("heading", name="Bring a loom: <i>pair.csv")).to_be_visible()
    expect(page.get_by_text("a wire in each row")).to_be_visible()
    assert page.get_by_role("button", name="Keep this loom").count() == 0
    page.locator("form.open-question select").select_option("mm")
    page.get_by_role("button", name="Answer").click()
    expect(page.locator(".facts")).to_contain_text("2 wires")
    page.get_by_label("Name", exact=True).fill("pair")
    page.get_by_label("I have looked at the columns").check()
    page.get_by_role("button", name="Keep this loom").click()
    expect(page).to_have_url(f"{server.base}/looms/pair/look")
    assert load(folder / "pair").loom.wire_by_name["W2"].length_m == pytest.approx(0.8)
    assert page.title() == "Look at pair · loomproof"
    page.goto(server.base)
    expect(page.get_by_role("link", name="pair", exact=True)).to_be_visible()


def test_what_is_wrong_with_the_form_stays_in_it(page: Page, server: Server) -> None:
    page.goto(f"{server.base}/looms/engine")
    page.get_by_text("How it is proved").click()
    page.get_by_label("Watch it while it is moved, s").fill("0.5")
    page.get_by_label("Cavities waived, by name").fill("BULK:1")
    page.context.set_offline(True)
    page.get_by_role("button", name="Prove this loom").click()
    expect(page.get_by_role("alert")).to_contain_text("Not sent: no word from the server.")
    page.context.set_offline(False)
    page.get_by_role("button", name="Prove this loom").click()
    expect(page.get_by_role("alert")).to_contain_text("no number from 1 to 3600")
    expect(page.get_by_label("Cavities waived, by name")).to_have_value("BULK:1")


def test_pages_fit_narrow_screens_and_name_what_is_pressed(page: Page, server: Server) -> None:
    paths = ("/", "/looms/engine", "/looms/engine/look", "/looms/hostile/look", "/looms/wrong", "/runs")
    for width in (1280, 820, 390):
        page.set_viewport_size({"width": width, "height": 900})
        for path in paths:
            page.goto(server.base + path)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (path, width)
            unnamed = page.evaluate(
                "[...document.querySelectorAll('button, input, select, textarea, a')]"
                ".filter(e => e.type !== 'hidden')"
                ".filter(e => !(e.textContent.trim() || e.ariaLabel || e.labels?.length))"
                ".map(e => e.outerHTML)"
            )
            assert unnamed == [], path


def test_a_name_and_a_tick_before_the_sheets_own_file_has_come_are_kept(page: Page, server: Server) -> None:
    late: list[Route] = []
    page.route("**/static/fit.js", lambda route: late.append(route))
    page.goto(f"{server.base}/fit/engine", wait_until="commit")
    page.locator("#person").fill("I. Torvald")
    page.locator("#person").press("Enter")  # ticks nothing
    page.locator("[data-step] button").first.click()
    expect(page.locator(".when").first).to_contain_text("UTC, I. Torvald")
    expect(page.locator("[data-step].done")).to_have_count(1)
    expect(page.locator("#print")).to_be_disabled()
    page.locator("#person").fill("P. Held")
    late.pop().continue_()
    page.unroute("**/static/fit.js")
    expect(page.locator("#print")).to_be_enabled()
    expect(page.locator("#person")).to_have_value("P. Held")
    page.locator("[data-step] button").nth(1).click()
    expect(page.locator(".when").nth(1)).to_contain_text("UTC, P. Held")
    page.reload()
    expect(page.locator("#person")).to_have_value("P. Held")
    expect(page.locator("[data-step].done")).to_have_count(2)
