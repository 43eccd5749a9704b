"""From bytes to an XML tree that is KBL: nothing hostile is parsed, nothing invalid goes further.

A KBL file needs no document type declaration. One that has it is refused before its entities could be
expanded or fetched. A packed file is refused unread, because what it unpacks to is not bounded.
"""

from __future__ import annotations

from functools import lru_cache
from importlib import resources
from pathlib import Path
from xml.parsers import expat

from lxml import etree

from loomproof.errors import DescriptionError, Problem
from loomproof.loom.kbl.schema_words import plain_words

NAMESPACE = "http://www.prostep.org/Car_electric_container/KBL2.3/KBLSchema"
"""The namespace of all three versions; which one it is stands in ``version_id``."""

LARGEST_BYTES = 200_000_000
"""A whole car's harness is some tens of megabytes; more than this is refused unread."""

VERSIONS = ("2.3", "2.4", "2.5")

_PACKED = {
    b"PK": "a zip archive",
    b"\x1f\x8b": "gzip-compressed",
    b"BZh": "bzip2-compressed",
    b"\xfd7z": "xz",
}


def open_kbl(path: Path) -> tuple[etree._Element, tuple[Problem, ...]]:
    """Return the root of a valid KBL file, and warnings.

    Raises `DescriptionError` where the file cannot be read, is packed, declares a document type, is not
    well-formed XML, is not KBL or breaks the schema of its version (then with every breach and its line).
    """
    try:
        size = path.stat().st_size
        content = path.read_bytes() if size <= LARGEST_BYTES else b""
    except OSError as error:
        raise _refused(path, f"cannot be read: {error.strerror}", "Name a KBL file.") from error
    if size > LARGEST_BYTES:
        raise _refused(path, f"has {size} bytes; at most {LARGEST_BYTES} are read", "Split the harness.")
    return parse(content, path.name)


def parse(content: bytes, name: str) -> tuple[etree._Element, tuple[Problem, ...]]:
    """Return the root of valid KBL bytes, and warnings; `open_kbl` says what is raised."""
    where = Path(name)
    for magic, what in _PACKED.items():
        if content.startswith(magic):
            raise _refused(where, f"is {what}, not XML", "Unpack it and name the KBL file in it.")
    _refuse_document_type(content, where)
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False, remove_comments=True
    )
    try:
        root = etree.fromstring(content, parser)
    except etree.XMLSyntaxError as error:
        problem = Problem(str(error.msg), file=name, row=error.lineno, cure="Export the file again.")
        raise DescriptionError(f"{name} is not well-formed XML", problems=(problem,)) from error
    if root.tag != f"{{{NAMESPACE}}}KBL_container":
        raise _refused(where, f"starts with <{etree.QName(root).localname}>, not <KBL_container>", _NOT_KBL)
    version, warnings = _version(root, name)
    _validate(root, version, name)
    return root, warnings


_NOT_KBL = "A KBL (VDA 4964) file of version 2.3, 2.4 or 2.5 is expected."


def _refused(path: Path, what: str, cure: str) -> DescriptionError:
    return DescriptionError(f"{path.name} {what}", cure=cure, problems=())


class _HasDocumentTypeError(Exception):
    """Leaves expat at the first document type declaration."""


class _AtRootError(Exception):
    """Leaves expat at the root element; what comes before it is clean."""


def _refuse_document_type(content: bytes, path: Path) -> None:
    # expat decodes every encoding that XML allows, so UTF-16 hides nothing from it; it stops before
    # the first entity is declared.
    def leave_at_document_type(*_: object) -> None:
        raise _HasDocumentTypeError

    def leave_at_root(*_: object) -> None:
        raise _AtRootError

    reader = expat.ParserCreate()
    reader.StartDoctypeDeclHandler = leave_at_document_type
    reader.StartElementHandler = leave_at_root
    try:
        reader.Parse(content, True)
    except _HasDocumentTypeError:
        raise _refused(
            path,
            "declares a document type, which can hold entities that fetch files or grow without end",
            "KBL has none: remove the <!DOCTYPE …> or ask the sender for a clean file.",
        ) from None
    except (_AtRootError, expat.ExpatError, ValueError, LookupError):
        # Broken XML gets its message, with the line, from the parser proper.
        return


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


@lru_cache(maxsize=len(VERSIONS))
def schema(version: str) -> etree.XMLSchema:
    """Return the schema of a KBL version (``2.3``, ``2.4`` or ``2.5``)."""
    source = resources.files("loomproof.loom.kbl").joinpath("schemas", f"kbl-{version}.xsd").read_bytes()
    return etree.XMLSchema(etree.fromstring(source, etree.XMLParser(resolve_entities=False, no_network=True)))


def breaches(root: etree._Element, version: str, name: str) -> tuple[Problem, ...]:
    """Return every breach of the schema of that version, with its line and in plain words."""
    judge = schema(version)
    if judge.validate(root):
        return ()
    return tuple(
        Problem(plain_words(entry.message), file=name, row=entry.line)
        for entry in judge.error_log  # type: ignore[attr-defined]  # lxml-stubs lacks iteration over the log
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
