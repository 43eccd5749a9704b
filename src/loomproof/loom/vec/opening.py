"""From bytes to an XML tree that is VEC, with every breach of its schema said.

Real exporters write files that break the schema of the version that they name in places that matter to no
wire. Such a file is read as far as it is sound, and what is wrong with it is told.
"""

from __future__ import annotations

from pathlib import Path

from lxml import etree

from loomproof.errors import Problem
from loomproof.loom.kbl.schema_words import plain_words
from loomproof.loom.xml_guard import content_of, entries_of, refused, schema_of, tree_of, unqualified

NAMESPACE = "http://www.prostep.org/ecad-if/2011/vec"
"""The namespace of all versions; which one it is stands in ``VecVersion``."""

VERSIONS = ("1.1.3", "1.2.0", "1.2.2", "2.0.0", "2.0.1", "2.1.0")

_NOT_VEC = f"A VEC (VDA 4968) file of one of the versions {', '.join(VERSIONS)} is expected."

MOST_BREACHES = 5
"""So many breaches of the schema are told one by one; the others are counted."""


def open_vec(path: Path) -> tuple[etree._Element, tuple[Problem, ...]]:
    """Return the root of a VEC file, and warnings.

    Raises `DescriptionError` where the file cannot be read, is packed, declares a document type, is not
    well-formed XML or is not VEC.
    """
    return parse(content_of(path, "VEC"), path.name)


def parse(content: bytes, name: str) -> tuple[etree._Element, tuple[Problem, ...]]:
    """Return the root of VEC bytes, and warnings; `open_vec` says what is raised."""
    root = tree_of(content, name, "VEC")
    if root.tag != f"{{{NAMESPACE}}}VecContent":
        raise refused(name, f"starts with <{etree.QName(root).localname}>, not <VecContent>", _NOT_VEC)
    bare = unqualified(root, NAMESPACE, name)
    version, warnings = _version(root, name)
    return root, (*bare, *warnings, *_breaches(root, version, name))


def _version(root: etree._Element, name: str) -> tuple[str, tuple[Problem, ...]]:
    stated = (root.findtext("VecVersion") or "").strip()
    if stated in VERSIONS:
        return stated, ()
    line = ".".join(stated.split(".")[:2])
    near = [version for version in VERSIONS if version.startswith(f"{line}.")]
    taken = (near or VERSIONS)[-1]
    message = f"its VecVersion is {stated!r}; it is read as VEC {taken}"
    cure = f"{', '.join(VERSIONS)} are known."
    return taken, (Problem(message, file=name, cure=cure, severity="warning"),)


def _breaches(root: etree._Element, version: str, name: str) -> tuple[Problem, ...]:
    judge = schema_of("vec", version)
    if judge.validate(root):
        return ()
    entries = entries_of(judge)
    told = [
        Problem(
            f"this breaks the schema of VEC {version}: {plain_words(entry.message)}",
            file=name,
            row=entry.line,
            cure="What is sound of the file is read.",
            severity="warning",
        )
        for entry in entries[:MOST_BREACHES]
    ]
    if len(entries) > MOST_BREACHES:
        rest = f"{len(entries) - MOST_BREACHES} more breaches of the schema of VEC {version}"
        told.append(Problem(rest, file=name, severity="warning"))
    return tuple(told)
