"""The site's search where it is opened as a file: its index as a script, and what stands for a worker."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.docs.search_as_file import on_post_build
from tests.docs.site import DOCS
from tests.web.test_browser import CHROMIUM, browser

if CHROMIUM:
    from playwright.sync_api import Browser

__all__ = ["browser"]

ASKED = """(script) => new Promise((answered) => {
    const worker = new Worker(script);
    worker.addEventListener("message", (event) => answered(event.data));
    worker.postMessage({ words: "loom" });
})"""
WORKER = 'addEventListener("message", (event) => postMessage({ found: event.data.words }));'


def test_the_index_is_a_script_that_sets_what_the_theme_looks_for(tmp_path: Path) -> None:
    index = {"docs": [{"title": "Größe </script>"}]}
    (tmp_path / "search").mkdir()
    (tmp_path / "search" / "search_index.json").write_text(json.dumps(index), encoding="utf-8")
    on_post_build({"site_dir": str(tmp_path)})
    said = (tmp_path / "search" / "search_index.js").read_text(encoding="utf-8")
    name, _, value = said.partition(" = ")
    assert (name, json.loads(value)) == ("var __index", index)


@pytest.mark.skipif(not CHROMIUM, reason="the system package chromium is not installed")
def test_a_page_that_is_opened_as_a_file_asks_what_stands_for_a_worker(
    browser: Browser, tmp_path: Path
) -> None:
    shutil.copy(DOCS / "search_as_file.js", tmp_path)
    (tmp_path / "worker.js").write_text(WORKER, encoding="utf-8")
    for name, script in (("bare", ""), ("site", '<script src="search_as_file.js"></script>')):
        (tmp_path / f"{name}.html").write_text(f"<!doctype html><title>{name}</title><body>{script}")
    page = browser.new_context().new_page()
    address = (tmp_path / "worker.js").as_uri()
    page.goto((tmp_path / "bare.html").as_uri())
    assert page.evaluate(
        "(at) => { try { new Worker(at); return ''; } catch (error) { return error.name; } }", address
    )
    page.goto((tmp_path / "site.html").as_uri())
    assert page.evaluate(ASKED, address) == {"found": "loom"}
    page.context.close()
