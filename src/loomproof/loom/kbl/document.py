"""Finding one's way in a KBL tree: texts, references, numbers with units, and what was never asked for."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from lxml import etree

from loomproof.errors import DescriptionError, Problem
from loomproof.loom.kbl.naming import FIRST
from loomproof.loom.sections import MM_PER_INCH, awg_mm2
from loomproof.loom.text import first_of

XSI_TYPE = "{http://www.w3.org/2001/XMLSchema-instance}type"
NOTHING = "/NULL"
"""What a sending system writes into a mandatory text that it does not manage (note in KBL 2.3's schema)."""


_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\ufffe\uffff]+ *")


def words(text: str | None) -> str:
    """Return a text on one line without blanks at its ends; a missing one and ``/NULL`` are empty."""
    plain = _CONTROL.sub(" ", text or "").strip()
    return "" if plain == NOTHING else plain


def line_of(element: etree._Element) -> int | None:
    """Return the line at which an element starts."""
    line = element.sourceline
    return line if isinstance(line, int) else None


def kind_of(element: etree._Element) -> str:
    """Return the ``xsi:type`` of an element without its prefix, or an empty text."""
    return (element.get(XSI_TYPE) or "").rsplit(":", 1)[-1]


@dataclass
class Document:
    """A KBL tree with its index and the warnings collected while it is read."""

    root: etree._Element
    name: str
    warnings: list[Problem] = field(default_factory=list)
    by_id: dict[str, etree._Element] = field(default_factory=dict)
    left_out: list[str] = field(default_factory=list)
    """Conductors of the file that the loom does not hold, each with the reason."""
    _units: dict[tuple[str, str], float | None] = field(default_factory=dict)
    _told: set[Problem] = field(default_factory=set)

    def __post_init__(self) -> None:
        """Index every element that carries an id."""
        for element in self.root.iter(etree.Element):
            key = element.get("id")
            if key is not None:
                self.by_id[key] = element

    @property
    def harness(self) -> etree._Element:
        """The one harness of the file. Raises `DescriptionError` where there is none."""
        found = self.root.find("Harness")
        if found is None:
            raise DescriptionError(
                f"{self.name} holds no harness, only part data",
                cure="Ask for the file of a harness; a parts library describes no loom.",
            )
        return found

    def text(self, element: etree._Element | None, tag: str) -> str:
        """Return the text of a child on one line; empty where there is none."""
        return words(element.findtext(tag)) if element is not None else ""

    def ref(self, element: etree._Element, tag: str) -> etree._Element | None:
        """Return what a child refers to; ``None`` (with a warning) where it refers to nothing."""
        return next(self.refs(element, tag), None)

    def refs(self, element: etree._Element, tag: str) -> Iterator[etree._Element]:
        """Yield what a child's list of references refers to; a dangling one is a warning."""
        for key in (element.findtext(tag) or "").split():
            found = self.by_id.get(key)
            if found is None:
                self.warn(f"<{tag}> refers to {key!r}, which is not in the file", element)
            else:
                yield found

    def part(self, element: etree._Element) -> etree._Element | None:
        """Return the part that an occurrence is one of."""
        return self.ref(element, "Part")

    def warn(
        self, message: str, element: etree._Element | None = None, cure: str = "", short: str = ""
    ) -> None:
        """Keep a warning, with the line where it is about one element; ``short`` has its long lists cut."""
        row = line_of(element) if element is not None else None
        problem = Problem(message, file=self.name, row=row, cure=cure, severity="warning", short=short)
        if problem not in self._told:
            self._told.add(problem)
            self.warnings.append(problem)

    def warn_of_lengths(self, types: Iterable[str], wanted: str | None) -> None:
        """Warn where lengths come by several types, or none is of the type ``wanted``."""
        kinds = [kind for kind in types if kind]
        if len(kinds) > 1:
            used = wanted or "the first positive one"
            self.warn(f"lengths are given by type ({', '.join(kinds)}); {used} is taken")
        if wanted is not None and wanted not in kinds:
            self.warn(
                f"no length is of the type {wanted!r}; the first positive one is taken",
                cure=f"The file has: {', '.join(kinds) or 'none'}.",
            )

    def warn_of(self, what: str, names: Sequence[str], cure: str = "") -> None:
        """Keep one warning that counts and lists names; none where there are none."""
        if names:
            self.warn_list(f"{what} ({len(names)})", names, cure)

    def warn_list(self, what: str, names: Sequence[str], cure: str = "") -> None:
        """Keep one warning that lists names, in short the first of them."""
        self.warn(f"{what}: {', '.join(names)}", cure=cure, short=f"{what}: {first_of(names, FIRST)}")

    def value(self, element: etree._Element | None, quantity: str) -> float | None:
        """Return a numerical value in the project's unit of its quantity; ``None`` where it has none.

        ``quantity`` is ``length`` (m), ``area`` (mm²) or ``current`` (A).
        """
        if element is None:
            return None
        number = element.findtext("Value_component")
        unit = element.findtext("Unit_component") or ""
        if (unit, quantity) not in self._units:
            self._units[unit, quantity] = self._factor(unit, quantity)
        factor = self._units[unit, quantity]
        if number is None or factor is None:
            return None
        found = float(number) * factor if factor is not GAUGE else section_of_gauge(float(number))
        if not math.isfinite(found) or found < 0:
            self.warn(f"{number} is no {quantity} and is left out", element)
            return None
        return found

    def _factor(self, key: str, quantity: str) -> float | None:
        unit = self.by_id.get(key)
        if unit is not None:
            named = self.text(unit, "Unit_name").casefold().replace("²", "2")
            known = NAMED[quantity].get(named)
            if known is not None:
                return known
            si = _SI[quantity]
            if (self.text(unit, "Si_unit_name"), self.text(unit, "Si_dimension")) == si[:2]:
                prefix = _PREFIX[self.text(unit, "Si_prefix")]
                return float(prefix ** (2 if si[1] == "square" else 1) * si[2])
        self.warn(f"unit {key!r} is no unit of {quantity}: values in it are left out", unit)
        return None


INCH_M = MM_PER_INCH / 1000
GAUGE = math.nan
"""In place of a factor: the values are AWG numbers, which no factor makes mm²."""


def section_of_gauge(gauge: float) -> float:
    """Return the section in mm² of a gauge number; not a number where there is no such gauge."""
    try:
        return round(awg_mm2(int(gauge)), 4) if gauge == int(gauge) else math.nan
    except (ValueError, OverflowError):
        return math.nan


_PREFIX = {"": 1.0, "milli": 1e-3, "centi": 1e-2, "micro": 1e-6, "kilo": 1e3}
_SI = {
    "length": ("metre", "", 1.0),
    "area": ("metre", "square", 1e6),
    "current": ("ampere", "", 1.0),
}
NAMED: dict[str, dict[str, float]] = {
    "length": {
        "mm": 1e-3,
        "millimetre": 1e-3,
        "m": 1.0,
        "metre": 1.0,
        "cm": 1e-2,
        "inch": INCH_M,
        "in": INCH_M,
        "foot": 12 * INCH_M,
        "ft": 12 * INCH_M,
    },
    "area": {"mm2": 1.0, "mm^2": 1.0, "square millimetre": 1.0, "awg": GAUGE},
    "current": {"ampere": 1.0, "a": 1.0, "ma": 1e-3, "milliampere": 1e-3},
}
"""Names of units that are no SI unit with a prefix, in lower case, and what one of them is."""


def counted(tags: Counter[str]) -> list[str]:
    """Return counted tags as texts: ``14 Fixing_occurrence``, ``105 Wire_protection_occurrence``."""
    return [f"{number} {tag}" for tag, number in sorted(tags.items())]
