"""Files of the two open harness descriptions, KBL and VEC: which of them a file is, and what reads it."""

from __future__ import annotations

from pathlib import Path

from loomproof.loom.described import LoadedLoom

ENDINGS = (".kbl", ".vec", ".xml")
"""Endings of the names of such files."""

_LOOKED_AT_BYTES = 4096


def is_one(path: Path) -> bool:
    """Whether a file is taken for KBL or VEC, by the ending of its name."""
    return path.suffix.casefold() in ENDINGS


def read(
    path: Path | str,
    *,
    configuration: str | None = None,
    side_table: Path | str | None = None,
    length_type: str | None = None,
) -> LoadedLoom:
    """Read a KBL or VEC file: by its ending, and where that says XML by its root.

    `loomproof.loom.kbl.read` and `loomproof.loom.vec.read` say what the options are and what is raised.
    """
    path = Path(path)
    if _is_vec(path):
        from loomproof.loom import vec

        return vec.read(path, configuration=configuration, side_table=side_table, length_type=length_type)
    from loomproof.loom import kbl

    return kbl.read(path, configuration=configuration, side_table=side_table, length_type=length_type)


def _is_vec(path: Path) -> bool:
    if path.suffix.casefold() != ".xml":
        return path.suffix.casefold() == ".vec"
    try:
        with path.open("rb") as file:
            return b"VecContent" in file.read(_LOOKED_AT_BYTES).replace(b"\0", b"")
    except OSError:
        return False
