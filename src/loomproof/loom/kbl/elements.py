"""Building KBL elements: children in the schema's order, and an id of its own for everything."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from lxml import etree

from loomproof.loom.kbl.document import NOTHING, XSI_TYPE
from loomproof.loom.kbl.opening import NAMESPACE

Child = tuple[str, str]
"""A child that only holds text: its tag and the text."""


class Builder:
    """Makes elements with ids that count up by tag, so that equal looms give equal bytes."""

    def __init__(self) -> None:
        self._numbers: Counter[str] = Counter()

    def make(
        self, tag: str, children: Iterable[Child | etree._Element | None] = (), kind: str = ""
    ) -> etree._Element:
        """Return an element with its children in the order given; ``kind`` is its ``xsi:type``."""
        self._numbers[tag] += 1
        element = etree.Element(tag, {"id": f"{tag}_{self._numbers[tag]}"})
        if kind:
            element.set(XSI_TYPE, f"kbl:{kind}")
        for child in children:
            if child is None:
                continue
            if isinstance(child, tuple):
                etree.SubElement(element, child[0]).text = child[1]
            else:
                element.append(child)
        return element

    def part(
        self,
        tag: str,
        number: str,
        about: str,
        children: Iterable[Child | etree._Element | None] = (),
        kind: str = "",
    ) -> etree._Element:
        """Return a part: what KBL asks of every one, then its own children."""
        return self.make(
            tag,
            [
                ("Part_number", number or NOTHING),
                ("Company_name", NOTHING),
                ("Version", NOTHING),
                ("Abbreviation", NOTHING),
                ("Description", about or NOTHING),
                *children,
            ],
            kind,
        )

    def instruction(self, tag: str, kind: str, value: str) -> etree._Element:
        """Return an instruction (``Installation_information``) of a type with its value."""
        return self.make(tag, [("Instruction_type", kind), ("Instruction_value", value)])


def key(element: etree._Element) -> str:
    """Return an element's id."""
    return element.get("id", "")


def keys(elements: Iterable[etree._Element]) -> str:
    """Return the ids of elements as a list of references."""
    return " ".join(key(element) for element in elements)


def container(children: Iterable[etree._Element], system: str, system_version: str) -> bytes:
    """Return a whole KBL 2.5 file."""
    root = etree.Element(
        f"{{{NAMESPACE}}}KBL_container",
        {"id": "KBL_container", "version_id": "2.5 SR-1"},
        nsmap={"kbl": NAMESPACE, "xsi": XSI_TYPE[1:].partition("}")[0]},
    )
    etree.SubElement(root, "Generating_system_name").text = system
    etree.SubElement(root, "Generating_system_version").text = system_version
    for child in children:
        root.append(child)
    etree.indent(root, space=" ")
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True)
