"""What benches were found to be, in files of lines beside the keys: held as the store's rows are.

There are two, of self-tests (studies of operators among them) and of zeros. What a proof takes for its
bench's repeatability, and the charts of a bench's health, come from them. A command says in the signed file
first which line it adds; a line that none announced is told for ever, as is one that is not as it was noted.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from operator import itemgetter
from pathlib import Path

from loomproof.records.canonical import sha256_hex
from loomproof.records.data_folder import SELFTEST_LINES, ZERO_LINES
from loomproof.records.growing import is_outside, numbered, parted, with_outside
from loomproof.records.heads import Grown, Heads, KeptFile, changing, grown_by, write_heads
from loomproof.records.keys import Signer

_FILES = (SELFTEST_LINES, ZERO_LINES)
_Line = tuple[int, str]
"""A line's number, from 1, and the hash of its bytes."""


def announce_line(folder: Path, signer: Signer, name: str, line: str) -> None:
    """Say in the data folder which line a command adds to a file next. `StoreError` as `write_heads`."""
    with changing(folder) as heads:
        if (noted := (heads.files or {}).get(name)) is not None:
            said = replace(noted, announced=(*noted.announced, sha256_hex(line.encode())))
            write_heads(folder, replace(heads, files={**(heads.files or {}), name: said}), signer)


def grown_files(folder: Path, heads: Heads) -> Mapping[str, KeptFile]:
    """Return how far the files have come, and which of their lines stay outside of what is noted."""
    return {name: _grown(_lines(folder / name), (heads.files or {}).get(name)) for name in _FILES}


def file_troubles(folder: Path, heads: Heads) -> list[str]:
    """Return what of the files is not as it was noted."""
    troubles = []
    for name, noted in (heads.files or {}).items():
        lines = _lines(folder / name)
        if grown_by(Grown(), _in_digest(lines, noted)).digest != noted.grown.digest:
            troubles.append(f"{folder / name}: lines that were noted are gone, changed or in another order")
        if shown := numbered(noted.outside, (number for number, _ in _told_apart(lines, noted)[1])):
            troubles.append(
                f"{folder / name}: added by no command of this account (line {shown}), by other means than "
                "this program"
            )
    return troubles


def _lines(path: Path) -> list[_Line]:
    try:
        data = path.read_bytes()
    except OSError:
        return []
    return [(number, sha256_hex(line)) for number, line in enumerate(data.split(b"\n"), 1) if line]


def _in_digest(lines: list[_Line], noted: KeptFile) -> list[_Line]:
    return [each for each in lines if each[0] <= noted.grown.last and not is_outside(noted.outside, each[0])]


def _told_apart(lines: list[_Line], noted: KeptFile) -> tuple[list[_Line], list[_Line], tuple[str, ...]]:
    """Return the lines behind those noted that were announced, those that were not, and what is left over."""
    announced = Counter(noted.announced)
    behind = (line for line in lines if line[0] > noted.grown.last)
    own, other = parted(behind, itemgetter(1), announced)
    return own, other, tuple(announced.elements())


def _grown(lines: list[_Line], noted: KeptFile | None) -> KeptFile:
    if noted is None:
        return KeptFile(grown_by(Grown(), lines))
    own, other, left = _told_apart(lines, noted)
    last = max((noted.grown.last, *(number for number, _ in (*own, *other))))
    outside = with_outside(noted.outside, (number for number, _ in other))
    return KeptFile(replace(grown_by(noted.grown, own), last=last), left, outside)
