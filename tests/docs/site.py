"""Lays the documentation together: pages by hand and from the code, notes on benches, pictures.

Run as ``python -m tests.docs.site FOLDER``; `make docs` does, and then builds the site of it.
"""

from __future__ import annotations

import posixpath
import re
import shutil
import sys
from pathlib import Path

from tests.docs import pictures, reference

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
NOTES = ROOT / "firmware_notes"


def by_hand() -> dict[str, Path]:
    """Return every page that a person wrote, with pictures, style and script, by its place in the site."""
    pages = {path.relative_to(DOCS).as_posix(): path for path in DOCS.rglob("*") if path.suffix in KEPT}
    notes = (path for path in NOTES.rglob("*") if path.suffix in KEPT and "build" not in path.parts)
    bench = {f"bench/{path.relative_to(NOTES).as_posix()}": path for path in notes}
    return pages | bench | {"developers.md": ROOT / "DEVELOPERS.md"}


KEPT = (".md", ".svg", ".css", ".js")

MADE_FROM = {
    "src/loomproof/bench/profiles": "reference/profiles.md",
    "src/loomproof/cli/main.py": "reference/commands.md",
    "src/loomproof/loom/columns.py": "reference/tables.md",
}
"""Pages made from what stands in the source: a page by hand leads there, for whoever reads it in a clone."""


def page(name: str, path: Path) -> str:
    """Return a page by hand as the site has it: what leads to a file of the source leads to its page."""
    places = {source.relative_to(ROOT).as_posix(): place for place, source in by_hand().items()} | MADE_FROM

    def led(link: re.Match[str]) -> str:
        place = places.get(posixpath.normpath(posixpath.join(folder, link[1])))
        return f"]({posixpath.relpath(place, posixpath.dirname(name) or '.')}" if place else link[0]

    folder = path.parent.relative_to(ROOT).as_posix()
    return re.sub(r"\]\(([^)#\s]+)", led, path.read_text(encoding="utf-8"))


def lay(folder: Path) -> None:
    """Write all of it into a folder, which is emptied first: a page that is gone leaves no copy behind."""
    shutil.rmtree(folder, ignore_errors=True)
    for name, path in by_hand().items():
        kept = page(name, path).encode() if path.suffix == ".md" else path.read_bytes()
        _place(folder / name).write_bytes(kept)
    for name, text in reference.pages().items():
        _place(folder / name).write_text(text, encoding="utf-8")
    for name, picture in pictures.drawn().items():
        _place(folder / name).write_bytes(picture)


def _place(path: Path) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    return path


if __name__ == "__main__":
    lay(Path(sys.argv[1]))
