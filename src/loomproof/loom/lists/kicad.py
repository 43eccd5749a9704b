"""Netlists of electronics design in the documented S-expression form: ``(export … (nets (net … (node …))))``.

A parser of our own, without recursion: text is not trusted, so depth, length and counts have limits.
"""

from __future__ import annotations

import re

from loomproof.errors import DescriptionError, Problem
from loomproof.loom import tables
from loomproof.loom.lists.ends import Entry
from loomproof.loom.lists.places import Place, one_line
from loomproof.loom.text import flaw

DEEPEST = 64
MOST_NODES = 2_000_000
MOST_BYTES = 64 * 1024 * 1024

_TOKEN = re.compile(
    r'\s+|(?P<open>\()|(?P<close>\))|"(?P<quoted>(?:[^"\\]|\\.)*)"|(?P<bare>[^\s()"]+)', re.DOTALL
)

Node = list["Node | str"]


def is_netlist(data: bytes) -> bool:
    """Whether a file begins as such a netlist does."""
    return re.match(rb"(?:\xef\xbb\xbf)?\s*\(\s*export\b", data[:200]) is not None


def entries_of(data: bytes, file: str) -> tuple[list[Entry], list[str]]:
    """Return one entry for each node of each net, in the file's order, and the symbols that are no parts.

    A reference that begins with ``#`` is a mark on the drawing (a power flag), which nothing is plugged to.
    Nets are told apart by code and name. Raises `DescriptionError`.
    """
    if len(data) > MOST_BYTES:
        raise _refused(file, f"it holds {len(data)} bytes; at most {MOST_BYTES} are read")
    text, problem = tables.decoded(data, file)
    if problem:
        raise DescriptionError(f"{file}: the netlist cannot be read", problems=[problem])
    root = _parsed(text, file)
    entries: list[Entry] = []
    drawn: dict[str, None] = {}
    code_of: dict[str, str] = {}
    for nets in _children(root, "nets"):
        for net in _children(nets, "net"):
            code = one_line(_text(net, "code"))
            name = one_line(_text(net, "name")) or code
            if code_of.setdefault(name, code) != code:
                name = one_line(f"{name} ({code})")  # Two nets of one name are two.
            for node in _children(net, "node"):
                connector, pin = _text(node, "ref"), _text(node, "pin")
                if not connector or not pin:
                    raise _refused(file, f"a node of net {name!r} has no ref or no pin")
                if wrong := flaw(connector) or flaw(pin):
                    raise _refused(file, f"a name in net {name!r} {wrong}")
                if connector.startswith("#"):
                    drawn[connector] = None
                    continue
                function = _text(node, "pinfunction")
                texts = {"net": name, "note": function}
                entries.append(Entry("", len(entries) + 1, (Place(connector, pin),), texts, ("",)))
    if not entries:
        raise _refused(file, "it holds no net with a node")
    return entries, list(drawn)


def _refused(
    file: str, message: str, row: int | None = None, cure: str = "Export the netlist once more."
) -> DescriptionError:
    return DescriptionError(
        f"{file}: the netlist cannot be read", problems=[Problem(message, file, row=row, cure=cure)]
    )


def _parsed(text: str, file: str) -> Node:
    """Return the one expression of a text as nested lists of texts."""
    root: Node = []
    stack: list[Node] = [root]
    at = count = 0
    while at < len(text):
        match = _TOKEN.match(text, at)
        if not match:
            raise _refused(file, "a text in double quotes is not closed", text.count("\n", 0, at) + 1)
        at = match.end()
        if match["open"]:
            inner: Node = []
            stack[-1].append(inner)
            stack.append(inner)
            if len(stack) > DEEPEST:
                raise _refused(
                    file, f"its brackets are more than {DEEPEST} deep", text.count("\n", 0, at) + 1
                )
        elif match["close"]:
            if len(stack) == 1:
                raise _refused(file, "a bracket is closed that was not opened", text.count("\n", 0, at) + 1)
            stack.pop()
        elif match["quoted"] is not None:
            stack[-1].append(re.sub(r"\\(.)", r"\1", match["quoted"], flags=re.DOTALL))
        elif match["bare"]:
            stack[-1].append(match["bare"])
        count += 1
        if count > 4 * MOST_NODES:
            raise _refused(file, f"it holds more than {MOST_NODES} expressions")
    if len(stack) > 1:
        raise _refused(file, "a bracket is not closed: the file is cut off")
    found = [node for node in root if isinstance(node, list)]
    if len(found) != 1 or not found[0] or found[0][0] != "export":
        raise _refused(
            file,
            "it is no netlist of the form that is read: it does not begin with (export",
            cure="Export it from the schematic as a netlist in S-expressions, or as a table of nets (.csv).",
        )
    return found[0]


def _children(node: Node, name: str) -> list[Node]:
    return [child for child in node if isinstance(child, list) and child and child[0] == name]


def _text(node: Node, name: str) -> str:
    found = _children(node, name)
    value = found[0][1] if found and len(found[0]) > 1 else ""
    return " ".join(value.split()) if isinstance(value, str) else ""
