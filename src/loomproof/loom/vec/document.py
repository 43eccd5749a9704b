"""Finding one's way in a VEC tree: kinds of specifications, texts in languages, values with their units."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from lxml import etree

from loomproof.errors import DescriptionError
from loomproof.loom.kbl.document import Document, kind_of, words

LANGUAGES = ("En", "De")
"""Languages in the order in which a text is looked for; else the first that is there."""


@dataclass
class VecDocument(Document):
    """A VEC tree with its index and the warnings collected while it is read."""

    def specifications(self, *kinds: str) -> Iterator[etree._Element]:
        """Yield the specifications of these kinds (``xsi:type``) of all documents, sheets included."""
        for found in self.root.iter("Specification"):
            if kind_of(found) in kinds:
                yield found

    def called(self, element: etree._Element | None) -> str:
        """Return the identification of an element, on one line and without blanks around it."""
        return self.text(element, "Identification")

    def said(self, element: etree._Element | None, tag: str = "Description") -> str:
        """Return a text in the first of `LANGUAGES` that it is given in; a plain text as it is."""
        if element is None:
            return ""
        texts: dict[str, str] = {}
        for one in element.iterfind(tag):
            value = words(one.findtext("Value")) if one.find("Value") is not None else words(one.text)
            texts.setdefault(words(one.findtext("LanguageCode")), value)
        known = [texts[language] for language in LANGUAGES if texts.get(language)]
        return (known or [text for text in texts.values() if text] or [""])[0]

    def value(self, element: etree._Element | None, quantity: str) -> float | None:
        """Return a value in the project's unit: ``length`` in m, ``area`` in mm², ``current`` in A."""
        if element is None:
            return None
        unit = self.ref(element, "UnitComponent")
        factor = self._in_unit(unit, quantity)
        try:
            number = float(element.findtext("ValueComponent") or "")
        except ValueError:
            return None
        if factor is None or not math.isfinite(number) or number < 0:
            said = self.text(element, "ValueComponent")
            self.warn(f"{said!r} in its unit is no {quantity} and is left out", element)
            return None
        return number * factor

    def _in_unit(self, unit: etree._Element | None, quantity: str) -> float | None:
        if unit is None or kind_of(unit) != "SIUnit":
            return None
        base, exponent, scale = _QUANTITIES[quantity]
        prefix = _PREFIXES.get(self.text(unit, "SiPrefix").casefold())
        wanted = (base, str(exponent))
        stated = (self.text(unit, "SiUnitName").casefold(), self.text(unit, "Exponent") or "1")
        return None if prefix is None or stated != wanted else prefix**exponent * scale


_QUANTITIES = {"length": ("metre", 1, 1.0), "area": ("metre", 2, 1e6), "current": ("ampere", 1, 1.0)}
_PREFIXES = {"": 1.0, "milli": 1e-3, "centi": 1e-2, "deci": 0.1, "micro": 1e-6, "kilo": 1e3}


def refuse_parts_only(document: VecDocument) -> None:
    """Raise `DescriptionError` where the file describes parts and no harness."""
    kinds = {kind_of(one) for one in document.root.iter("Specification")}
    if not kinds & {"CompositionSpecification", "ConnectionSpecification"}:
        raise only_parts(document)


def only_parts(document: VecDocument) -> DescriptionError:
    """Return the error of a file without a harness, with what was odd about the file."""
    return DescriptionError(
        f"{document.name} holds no harness, only part data",
        cure="Ask for the file of a harness; a parts library describes no loom.",
        problems=tuple(document.warnings),
    )
