"""Where a person's loomproof data live: keys, known signers, the default store."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

SELFTEST_LINES = "selftests.jsonl"
ZERO_LINES = "zeros.jsonl"
"""What benches were found to be, in two files of the folder (`kept_files`)."""


def home(environment: Mapping[str, str] | None = None, platform: str = sys.platform) -> Path:
    """Return the data folder; it need not exist yet.

    ``LOOMPROOF_HOME`` wins. Else the platform's place for a user's data: ``XDG_DATA_HOME`` or
    ``~/.local/share`` (XDG Base Directory Specification), ``~/Library/Application Support`` on macOS,
    ``%LOCALAPPDATA%`` on Windows.
    """
    given = os.environ if environment is None else environment
    if given.get("LOOMPROOF_HOME"):
        return Path(given["LOOMPROOF_HOME"]).expanduser()
    if platform == "win32":
        base = Path(given["LOCALAPPDATA"]) if given.get("LOCALAPPDATA") else Path.home() / "AppData" / "Local"
    elif platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        # The specification says that a relative path in the variable is to be ignored.
        stated = Path(given.get("XDG_DATA_HOME", ""))
        base = stated if stated.is_absolute() else Path.home() / ".local" / "share"
    return base / "loomproof"
