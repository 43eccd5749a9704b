"""Where ``workshop.toml`` is looked for; reading it is `workshop`, which imports what this must not."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

FILE = "workshop.toml"


def places(
    loom: Path | None = None, environment: Mapping[str, str] | None = None, platform: str = sys.platform
) -> tuple[Path, ...]:
    """Return where the file is looked for, in order: beside the loom, in this folder, among the user's own.

    The user's own is ``LOOMPROOF_HOME`` where that is set, else the platform's place for a user's settings:
    ``XDG_CONFIG_HOME`` or ``~/.config`` (XDG Base Directory Specification), ``~/Library/Application Support``
    on macOS, ``%APPDATA%`` on Windows.
    """
    given = os.environ if environment is None else environment
    if given.get("LOOMPROOF_HOME"):
        mine = Path(given["LOOMPROOF_HOME"]).expanduser()
    elif platform == "win32":
        base = Path(given["APPDATA"]) if given.get("APPDATA") else Path.home() / "AppData" / "Roaming"
        mine = base / "loomproof"
    elif platform == "darwin":
        mine = Path.home() / "Library" / "Application Support" / "loomproof"
    else:
        # The specification says that a relative path in the variable is to be ignored.
        stated = Path(given.get("XDG_CONFIG_HOME", ""))
        mine = (stated if stated.is_absolute() else Path.home() / ".config") / "loomproof"
    beside = () if loom is None else (loom.absolute().parent,)
    return tuple(dict.fromkeys(folder / FILE for folder in (*beside, Path.cwd(), mine)))
