"""Files of the two open harness descriptions, KBL and VEC: which of them a file is, and what reads it."""

from __future__ import annotations

import re
from pathlib import Path
from xml.parsers import expat

from loomproof.errors import DescriptionError
from loomproof.loom.described import LoadedLoom

ENDINGS = (".kbl", ".vec", ".xml")
"""Endings of the names of such files."""

_LOOKED_AT_BYTES = 1_000_000
_ROOT = re.compile(rb"<(?:[\w.-]+:)?(KBL_container|VecContent)\b")
_ROOTS = {"KBL_container": ".kbl", "VecContent": ".vec"}


def is_one(path: Path) -> bool:
    """Whether a file is taken for KBL or VEC, by the ending of its name."""
    return path.suffix.casefold() in ENDINGS


def read(
    path: Path | str,
    *,
    configuration: str | None = None,
    side_table: Path | str | None = None,
    length_type: str | None = None,
    harness: str | None = None,
) -> LoadedLoom:
    """Read a KBL or VEC file: by its root, whatever its name says, else by its ending.

    `loomproof.loom.kbl.read` and `loomproof.loom.vec.read` say what the options are and what is raised.
    """
    path = Path(path)
    if _is_vec(path):
        from loomproof.loom import vec

        return vec.read(
            path,
            configuration=configuration,
            side_table=side_table,
            length_type=length_type,
            harness=harness,
        )
    if harness is not None:
        raise DescriptionError(
            f"{path.name} is no VEC file: a KBL file describes one harness",
            cure="Leave the harness out, or name a VEC file.",
        )
    from loomproof.loom import kbl

    return kbl.read(path, configuration=configuration, side_table=side_table, length_type=length_type)


def _is_vec(path: Path) -> bool:
    return (_ROOTS.get(_root_of(path)) or path.suffix.casefold()) == ".vec"


class _SeenError(Exception):
    """Leaves expat where the root element is known, or may not be looked for."""


def _root_of(path: Path) -> str:
    """Return the name of the first element of an XML file, without its prefix; empty where it has none.

    What declares a document type may hold entities: it is not looked into, and refused by whoever reads it.
    """
    found: list[str] = []

    def leave(*_: object) -> None:
        raise _SeenError

    def note(name: str, _: object) -> None:
        found.append(name.rsplit(":", 1)[-1])
        raise _SeenError

    reader = expat.ParserCreate()
    reader.StartDoctypeDeclHandler = leave
    reader.StartElementHandler = note
    start = b""
    try:
        with path.open("rb") as file:
            start = file.read(_LOOKED_AT_BYTES)
        reader.Parse(start, False)
    except (_SeenError, OSError):
        pass
    except (expat.ExpatError, ValueError, LookupError):
        # A wrong word about its encoding, which the parser proper puts right.
        said = _ROOT.search(start.replace(b"\0", b""))
        return said[1].decode() if said else ""
    return found[0] if found else ""
