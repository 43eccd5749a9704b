"""Finding one's way in a VEC tree: kinds of specifications, texts in languages, values with their units."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from lxml import etree

from loomproof.errors import DescriptionError, Problem
from loomproof.loom.kbl.document import (
    GAUGE,
    INCH_M,
    NAMED,
    Document,
    kind_of,
    line_of,
    section_of_gauge,
    words,
)

EE_ROLES = frozenset(
    {
        *("EEComponentRole", "AntennaRole", "BatteryRole", "CapacitorRole", "DiodeRole", "FuseRole"),
        *("MultiFuseRole", "PotentialDistributorRole", "RelayRole"),
    }
)
"""Roles of electrical parts; from version 2.1 on some kinds have one of their own."""

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
        key = (self.text(element, "UnitComponent"), quantity)
        if key not in self._units:
            self._units[key] = self._stated(element, quantity)
        factor = self._units[key]
        try:
            number = float(element.findtext("ValueComponent") or "")
        except ValueError:
            number = math.nan
        if factor is None:
            return None
        found = number * factor if factor is not GAUGE else section_of_gauge(number)
        if not math.isfinite(found) or found < 0:
            said = self.text(element, "ValueComponent")
            self.warn(f"{said!r} is no {quantity} and is left out", element)
            return None
        return found

    def _stated(self, element: etree._Element, quantity: str) -> float | None:
        """Return what one of a value's unit is in ours, and say where it is no unit of that quantity."""
        unit = self.ref(element, "UnitComponent")
        factor = self._in_unit(unit, quantity) if unit is not None else None
        if factor is None:
            name = self.text(element, "UnitComponent")
            self.warn(f"unit {name!r} is no unit of {quantity}: values in it are left out", unit)
        return factor

    def _in_unit(self, unit: etree._Element, quantity: str) -> float | None:
        base, wanted, scale = _QUANTITIES[quantity]
        exponent = self.text(unit, "Exponent") or "1"
        kind = kind_of(unit)
        if kind == "SIUnit":
            prefix = _PREFIXES.get(self.text(unit, "SiPrefix").casefold())
            stated = (self.text(unit, "SiUnitName").casefold(), exponent)
            return None if prefix is None or stated != (base, str(wanted)) else prefix**wanted * scale
        if kind in ("ImperialUnit", "USUnit"):
            name = (self.text(unit, "ImperialUnitName") or self.text(unit, "UsUnitName")).casefold()
            if name == "awg":
                return GAUGE if quantity == "area" and exponent == "1" else None
            inches = _INCHES.get(name)
            right = base == "metre" and exponent == str(wanted)
            return (inches * INCH_M) ** wanted * scale if inches is not None and right else None
        if kind == "CustomUnit" and exponent in ("1", str(wanted)):
            return NAMED[quantity].get(self.called(unit).casefold().replace("²", "2"))
        return None


_QUANTITIES = {"length": ("metre", 1, 1.0), "area": ("metre", 2, 1e6), "current": ("ampere", 1, 1.0)}
_PREFIXES = {
    "": 1.0,
    "nano": 1e-9,
    "micro": 1e-6,
    "milli": 1e-3,
    "centi": 1e-2,
    "deci": 0.1,
    "deca": 10.0,
    "hecto": 100.0,
    "kilo": 1e3,
}
_INCHES = {"thou": 1e-3, "inch": 1.0, "foot": 12.0, "yard": 36.0}


def is_part_master(document: etree._Element) -> bool:
    """Whether a document of a file describes a part, and no harness."""
    return (document.findtext("DocumentType") or "").strip() == "PartMaster"


_WIRED = (
    *("Component", "PartUsage", "Role", "ConnectorHousingRole", "TerminalRole", "IntegratedTerminalRole"),
    *("SlotReference", "CavityReference", "Cavity", "WireElementReference", "WireEnd", "ContactPoint"),
    *("Connection", "ConnectionEnd", "ComponentNode", "ComponentConnector", "ComponentPort"),
)


def refuse_twice(document: VecDocument) -> None:
    """Raise `DescriptionError` where two elements that say what is joined to what have one id.

    Whoever refers to it could mean either, and each guess would be another loom.
    """
    seen: dict[str, etree._Element] = {}
    problems = []
    for element in document.root.iter(*_WIRED):
        key = element.get("id")
        if key is None:
            continue
        first = seen.setdefault(key, element)
        if first is not element:
            other = f"the <{first.tag}> of row {line_of(first)}"
            told = f"the id {key!r} is given to this <{element.tag}> and to {other}"
            problems.append(Problem(told, file=document.name, row=line_of(element)))
    if problems:
        raise DescriptionError(
            f"{document.name} gives ids twice, so that nobody can tell what is joined to what",
            cure="Export the file again, with an id of its own for everything.",
            problems=tuple(problems),
        )


def refuse_parts_only(document: VecDocument) -> None:
    """Raise `DescriptionError` where the file describes parts and no harness."""
    kinds = {kind_of(one) for one in document.root.iter("Specification")}
    if not kinds & {"CompositionSpecification", "ConnectionSpecification", "PartUsageSpecification"}:
        raise only_parts(document)


def only_parts(document: VecDocument) -> DescriptionError:
    """Return the error of a file without a harness, with what was odd about the file."""
    return DescriptionError(
        f"{document.name} holds no harness, only part data",
        cure="Ask for the file of a harness; a parts library describes no loom.",
        problems=tuple(document.warnings),
    )
