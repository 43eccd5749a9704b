"""Looks over the built site: no page, style or picture may fetch anything from elsewhere.

Run as ``python -m tests.docs.built FOLDER``.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

ASSETS = {"script": "src", "img": "src", "iframe": "src", "source": "src", "object": "data", "link": "href"}
"""What a browser fetches by itself; a link that a person follows may lead elsewhere."""

ELSEWHERE = re.compile(r"^(?:[a-z]+:)?//", re.IGNORECASE)


class _Assets(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "link" and given.get("rel") in ("canonical", "next", "prev"):
            return
        self.found.append(given.get(ASSETS.get(tag, "")) or "")


def from_elsewhere(folder: Path) -> Iterator[str]:
    """Yield a line for each asset of the site that is not of the site."""
    for path in sorted(folder.rglob("*")):
        if path.suffix == ".html":
            reader = _Assets()
            reader.feed(path.read_text(encoding="utf-8"))
            found = reader.found
        elif path.suffix in (".css", ".svg"):
            text = path.read_text(encoding="utf-8")
            found = re.findall(r"url\(['\"]?([^'\")]+)", text) + re.findall(r"@import\s+['\"]([^'\"]+)", text)
        else:
            continue
        yield from (f"{path.relative_to(folder)}: {each}" for each in found if ELSEWHERE.match(each))


if __name__ == "__main__":
    strangers = list(from_elsewhere(Path(sys.argv[1])))
    print("\n".join(strangers), end="\n" if strangers else "")
    sys.exit(1 if strangers else 0)
