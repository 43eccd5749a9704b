"""What MkDocs does at the end of a build, so that the site's search works where it is opened as a file.

A page opened so may fetch no JSON: the index of the search stands as a script beside it, which sets what the
theme looks for. The other half is ``docs/search_as_file.js``.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any


def on_post_build(config: Any) -> None:
    """Write the index of the search as a script, beside the one that a server hands out."""
    index = Path(config["site_dir"]) / "search" / "search_index.json"
    script = f"var __index = {index.read_text(encoding='utf-8')}"
    index.with_suffix(".js").write_text(script, encoding="utf-8")
