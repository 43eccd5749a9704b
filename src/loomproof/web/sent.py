"""What a form sends with files in it (RFC 7578: multipart/form-data), read as bytes that nobody vouches for.

A file's name is a text to be shown: nothing here, nor whoever gets it, makes a path of it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from email.message import Message

from loomproof.errors import UsageError

MOST_PARTS = 200
"""So many fields and files a form may have."""

MOST_HEAD_BYTES = 4096
"""Of the lines above a part."""

MOST_NAME = 200
"""Characters of a file's name that are kept."""


@dataclass(frozen=True)
class Sent:
    """A file as it was sent: what it is called, and its bytes."""

    name: str
    data: bytes


def parts(body: bytes, kind: str) -> tuple[dict[str, str], tuple[Sent, ...]]:
    """Return the fields, once each, and the files of a form; ``kind`` is the request's content type.

    A file without a name is a field of files that was left empty. Raises `UsageError` for what is no form.
    """
    boundary = _header(kind).get_param("boundary")
    if not isinstance(boundary, str) or not re.fullmatch(r"[\w'()+,./:=? -]{1,70}", boundary, re.ASCII):
        raise _unread()
    line = b"--" + boundary.encode("ascii")
    first, *rest = (b"\r\n" + body).split(b"\r\n" + line)
    if first.strip() or not rest or not rest[-1].startswith(b"--"):
        raise _unread()
    if len(rest) - 1 > MOST_PARTS:
        raise UsageError(f"a form may bring {MOST_PARTS} files at most", cure="Bring fewer at once.")
    fields: dict[str, str] = {}
    files: list[Sent] = []
    for part in rest[:-1]:
        head, blank, data = part.partition(b"\r\n\r\n")
        if not blank or len(head) > MOST_HEAD_BYTES:
            raise _unread()
        said = _disposition(head)
        name, file = said.get_param("name"), said.get_param("filename")
        if not isinstance(name, str) or not isinstance(file, str | None):
            raise _unread()
        # Browsers write a quote in a name as %22, as HTML's encoding of forms has it.
        name = name.replace("%22", '"')
        if file is None:
            fields[name] = data.decode("utf-8", "replace")
        elif file:
            files.append(Sent(shown_name(file.replace("%22", '"')), data))
    return fields, tuple(files)


def shown_name(name: str) -> str:
    """Return the last part of a file's name as a text of one line that somebody can read."""
    last = re.split(r"[/\\]", name)[-1]
    plain = "".join(mark if mark.isprintable() else "\ufffd" for mark in last).strip()
    return plain[:MOST_NAME] or "file"


def _disposition(head: bytes) -> Message:
    for each in head.decode("utf-8", "replace").split("\r\n"):
        name, _, said = each.partition(":")
        if name.strip().casefold() == "content-disposition":
            return _header(said.strip())
    raise _unread()


def _header(said: str) -> Message:
    """Return a header whose parameters can be asked for by name."""
    message = Message()
    message["content-type"] = said
    return message


def _unread() -> UsageError:
    return UsageError("what was sent is no form that can be read", cure="Load the page again.")
