"""Ways to change what no seal vouches for, rows of tables and lines of files; older copies put back."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from loomproof.records.data_folder import SELFTEST_LINES, ZERO_LINES
from loomproof.records.unfinished_runs import note_sealed, note_started
from tests.records.edits import NOTED, Edit, both, gone, older_copy, one_more, sql

_ADDED = "added by no command of this account"
_ROWS = {
    "repairs": "(run_id, finding, person, done, words) VALUES (2, 1, 'A', '2026-01-02', 'well done')",
    "answers": "(run_id, said, words) VALUES (2, 'x', 'y')",
    "confirmed": "(run_id, finding, person, said, cause, line) VALUES (2, 1, 'A', 'x', 'broken_wire', '{}')",
    "selftests": "(tested, bench, line) VALUES ('x', 'y', '{\"z\": 1}')",
}
_CHANGES = {
    "repairs": "words = 'nothing'",
    "answers": "words = 'W2 sound'",
    "confirmed": "cause = 'broken_wire'",
    "selftests": "bench = 'Another'",
}


def _lines(name: str, change: Callable[[list[str]], list[str]]) -> Callable[[Path], None]:
    def do(folder: Path) -> None:
        path = folder / name
        path.write_text("".join(change(path.read_text().splitlines(keepends=True))))

    return do


def _edited(lines: list[str]) -> list[str]:
    return [lines[0].replace("SB-1", "SB-2"), *lines[1:]]


def _of_rows(table: str) -> tuple[Edit, ...]:
    row = 3 if table == "selftests" else 2
    added, taken = sql(f"INSERT INTO {table} {_ROWS[table]}"), sql(f"DELETE FROM {table} WHERE id = {row}")
    noted, not_ours = f"{table}: {NOTED}", f"{table}: {_ADDED} (row {row})"
    return (
        Edit(f"{table}: a row edited", sql(f"UPDATE {table} SET {_CHANGES[table]}"), noted),
        Edit(f"{table}: a row deleted", sql(f"DELETE FROM {table}"), noted),
        Edit(f"{table}: a row added", added, not_ours),
        Edit(f"{table}: a row added, then one proof more", both(added, one_more), not_ours),
        Edit(f"{table}: a row added, a proof, the row deleted", both(added, one_more, taken), not_ours),
    )


def _of_lines(name: str) -> tuple[Edit, ...]:
    added = _lines(name, lambda lines: [*lines, lines[0]])
    noted, not_ours = f"{name}: lines that were noted", f"{name}: {_ADDED} (line 3)"
    return (
        Edit(
            f"{name}: a line edited",
            _lines(name, lambda lines: [lines[0].replace("SB-1", "SB-2"), *lines[1:]]),
            noted,
        ),
        Edit(f"{name}: a line deleted", _lines(name, lambda lines: lines[1:]), noted),
        Edit(f"{name}: a line added", added, not_ours),
        Edit(f"{name}: a line added, then one proof more", both(added, one_more), not_ours),
        Edit(f"{name}: deleted", gone(name), noted),
    )


def older_of_both(folder: Path) -> None:
    """Put back store and signed file as they were before the last proof; the file of lines stays."""
    shutil.copytree(folder, folder.parent / "before")
    note_started("five", "Tail lamp loom, left", "2026-01-09T09:00:00+00:00", Path("j"))
    one_more(folder)
    note_sealed("five")
    for name in ("records.db", "records.db-wal", "heads.json"):
        (folder / name).unlink(missing_ok=True)
        if (folder.parent / "before" / name).exists():
            shutil.copy(folder.parent / "before" / name, folder / name)


UNSEALED_EDITS = (
    *(edit for table in _ROWS for edit in _of_rows(table)),
    *(edit for name in (SELFTEST_LINES, ZERO_LINES) for edit in _of_lines(name)),
    Edit(
        "older copy put back, file of heads deleted",
        both(older_copy, gone("heads.json")),
        "heads.json: it is not there",
        code=4,
    ),
    Edit("older copies of store and file of heads put back", older_of_both, "run five of Tail lamp loom"),
)
