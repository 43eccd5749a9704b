"""Keeping what benches were found to be: said beside the keys first, as this account's own."""

from __future__ import annotations

from loomproof.jobs.gate import selftests, zeros
from loomproof.measuring import selftests_kept, zeros_kept
from loomproof.measuring.selftests_kept import SelfTest
from loomproof.measuring.zeros_kept import Zero
from loomproof.records.data_folder import SELFTEST_LINES, ZERO_LINES, home
from loomproof.records.kept_files import announce_line
from loomproof.records.keys import KeyFolder


def keep_selftest(found: SelfTest) -> None:
    """Add a self-test, or a study, to those of this person. Raises `StoreError`."""
    _announced(SELFTEST_LINES, selftests_kept.line_of(found))
    selftests_kept.keep(found, selftests())


def keep_zero(found: Zero) -> None:
    """Add a zeroing to those of this person. Raises `StoreError`."""
    _announced(ZERO_LINES, zeros_kept.line_of(found))
    zeros_kept.keep_zero(found, zeros())


def _announced(name: str, line: str) -> None:
    keys = KeyFolder(home())
    if keys.path.exists():
        announce_line(home(), keys.in_use(), name, line)
