"""From bytes to an XML tree: nothing hostile is parsed, whatever description it holds.

No description that is read here needs a document type declaration. One that has it is refused before its
entities could be expanded or fetched. A packed file is refused unread, because what it unpacks to is not
bounded.
"""

from __future__ import annotations

from functools import lru_cache
from importlib import resources
from pathlib import Path
from xml.parsers import expat

from lxml import etree

from loomproof.errors import DescriptionError, Problem

LARGEST_BYTES = 200_000_000
"""A whole car's harness is some tens of megabytes; more than this is refused unread."""

_PACKED = {
    b"PK": "a zip archive",
    b"\x1f\x8b": "gzip-compressed",
    b"BZh": "bzip2-compressed",
    b"\xfd7z": "xz",
}


def content_of(path: Path, kind: str) -> bytes:
    """Return the bytes of a file of this kind. Raises `DescriptionError` where it cannot be read."""
    try:
        size = path.stat().st_size
        content = path.read_bytes() if size <= LARGEST_BYTES else b""
    except OSError as error:
        raise refused(path.name, f"cannot be read: {error.strerror}", f"Name a {kind} file.") from error
    if size > LARGEST_BYTES:
        raise refused(path.name, f"has {size} bytes; at most {LARGEST_BYTES} are read", "Split the harness.")
    return content


def tree_of(content: bytes, name: str, kind: str) -> etree._Element:
    """Return the root of XML bytes.

    Raises `DescriptionError` where they are packed, declare a document type or are not well-formed.
    """
    for magic, what in _PACKED.items():
        if content.startswith(magic):
            raise refused(name, f"is {what}, not XML", f"Unpack it and name the {kind} file in it.")
    _refuse_document_type(content, name, kind)
    parser = etree.XMLParser(
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        huge_tree=False,
        remove_comments=True,
        # What a file is indented with is a third of the tree; blanks within an element of text stay.
        remove_blank_text=True,
    )
    try:
        return etree.fromstring(content, parser)
    except etree.XMLSyntaxError as error:
        problem = Problem(str(error.msg), file=name, row=error.lineno, cure="Export the file again.")
        raise DescriptionError(f"{name} is not well-formed XML", problems=(problem,)) from error


def unqualified(root: etree._Element, namespace: str, name: str) -> tuple[Problem, ...]:
    """Take the root's namespace off the elements in it, for a file that gives it to all of them; and say so.

    The schemas of KBL and VEC have it on the root alone. A default namespace puts it on everything.
    """
    mark = f"{{{namespace}}}"
    found = list(root.iterdescendants(f"{mark}*"))
    if not found:
        return ()
    for element in found:
        element.tag = element.tag.removeprefix(mark)
    said = "its elements stand in the namespace that the schema has on the root alone; they are read without"
    return (Problem(said, file=name, row=entry_row(found[0]), severity="warning"),)


def entry_row(element: etree._Element) -> int | None:
    """Return the row of an element in its file."""
    return element.sourceline if isinstance(element.sourceline, int) else None


def refused(name: str, what: str, cure: str) -> DescriptionError:
    """Return the error of a file that is refused whole."""
    return DescriptionError(f"{name} {what}", cure=cure, problems=())


class _HasDocumentTypeError(Exception):
    """Leaves expat at the first document type declaration."""


class _AtRootError(Exception):
    """Leaves expat at the root element; what comes before it is clean."""


def _refuse_document_type(content: bytes, name: str, kind: str) -> None:
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
        raise refused(
            name,
            "declares a document type, which can hold entities that fetch files or grow without end",
            f"{kind} has none: remove the <!DOCTYPE …> or ask the sender for a clean file.",
        ) from None
    except (_AtRootError, expat.ExpatError, ValueError, LookupError):
        # Broken XML gets its message, with the line, from the parser proper.
        return


@lru_cache(maxsize=4)
def schema_of(format_name: str, version: str) -> etree.XMLSchema:
    """Return the schema of a version of a format: ``schema_of("kbl", "2.5")``."""
    folder = resources.files(f"loomproof.loom.{format_name}").joinpath("schemas")
    source = folder.joinpath(f"{format_name}-{version}.xsd").read_bytes()
    return etree.XMLSchema(etree.fromstring(source, etree.XMLParser(resolve_entities=False, no_network=True)))


def entries_of(judge: etree.XMLSchema) -> list[etree._LogEntry]:
    """Return what a schema had against the tree that it judged last, in order."""
    return list(judge.error_log)  # type: ignore[call-overload,no-any-return]  # stubs lack iteration
