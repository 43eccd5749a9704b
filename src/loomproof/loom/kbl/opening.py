"""From bytes to an XML tree that is KBL: nothing invalid goes further."""

from __future__ import annotations

from pathlib import Path

from lxml import etree

from loomproof.errors import DescriptionError, Problem
from loomproof.loom.kbl.schema_words import plain_words
from loomproof.loom.xml_guard import content_of, entries_of, refused, schema_of, tree_of, unqualified

NAMESPACE = "http://www.prostep.org/Car_electric_container/KBL2.3/KBLSchema"
"""The namespace of all three versions; which one it is stands in ``version_id``."""

VERSIONS = ("2.3", "2.4", "2.5")


def open_kbl(path: Path) -> tuple[etree._Element, tuple[Problem, ...]]:
    """Return the root of a valid KBL file, and warnings.

    Raises `DescriptionError` where the file cannot be read, is packed, declares a document type, is not
    well-formed XML, is not KBL or breaks the schema of its version (then with every breach and its line).
    """
    return parse(content_of(path, "KBL"), path.name)


def parse(content: bytes, name: str) -> tuple[etree._Element, tuple[Problem, ...]]:
    """Return the root of valid KBL bytes, and warnings; `open_kbl` says what is raised."""
    root = tree_of(content, name, "KBL")
    if root.tag != f"{{{NAMESPACE}}}KBL_container":
        raise refused(name, f"starts with <{etree.QName(root).localname}>, not <KBL_container>", _NOT_KBL)
    bare = unqualified(root, NAMESPACE, name)
    version, warnings = _version(root, name)
    _validate(root, version, name)
    return root, (*bare, *warnings)


_NOT_KBL = "A KBL (VDA 4964) file of version 2.3, 2.4 or 2.5 is expected."


def _version(root: etree._Element, name: str) -> tuple[str, tuple[Problem, ...]]:
    stated = root.get("version_id", "")
    for version in VERSIONS:
        if stated.strip().startswith(version):
            return version, ()
    newest = VERSIONS[-1]
    return newest, (
        Problem(
            f"version_id is {stated!r}; the file is read as KBL {newest}",
            file=name,
            row=root.sourceline if isinstance(root.sourceline, int) else None,
            cure=f"{', '.join(VERSIONS)} are known.",
            severity="warning",
        ),
    )


def breaches(root: etree._Element, version: str, name: str) -> tuple[Problem, ...]:
    """Return every breach of the schema of that version, with its line and in plain words."""
    judge = schema_of("kbl", version)
    if judge.validate(root):
        return ()
    return tuple(
        Problem(plain_words(entry.message), file=name, row=entry.line) for entry in entries_of(judge)
    )


def _validate(root: etree._Element, version: str, name: str) -> None:
    problems = breaches(root, version, name)
    if problems:
        count = "one breach" if len(problems) == 1 else f"{len(problems)} breaches"
        raise DescriptionError(
            f"{name} is not valid KBL {version}: {count} of its schema",
            cure="Export the file again, or correct the lines named.",
            problems=problems,
        )
