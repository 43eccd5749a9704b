"""Sections, lengths and colours of a list: read with the unit or code that fits all of it.

What cannot be read never refuses a list: it goes into the wire's note, with a warning.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from loomproof.loom import colours, sections
from loomproof.loom.lists.places import nothing

METRIC_MM2 = (
    0.08, 0.13, 0.14, 0.22, 0.25, 0.3, 0.34, 0.35, 0.5, 0.6, 0.75, 0.8, 0.85, 1, 1.25, 1.5, 2, 2.5, 3, 4, 5,
    6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 50, 60, 70, 85, 95, 120,
)  # fmt: skip
"""Sections that vehicle cables are sold in (ISO 6722-1 and ISO 19642 list them, with Japanese sizes)."""

SCREENS = frozenset(
    ["src", "scn", "screen", "shield", "shld", "schirm", "abschirmung", "geflecht", "braid", "drain"]
)
"""What lists write in place of a screen's colour."""

_NUMBER = re.compile(r"\d+(?:[.,]\d+)?|[.,]\d+")
_MM2 = re.compile(r"(?P<n>[\d.,]+)\s*(?:mm\s*(?:2|²|\^2)|qmm|sqmm|mm)\.?", re.IGNORECASE)
_AWG = re.compile(
    r"(?:#|awg|ga\.?|gauge)\s*(?P<a>\d{1,2}|[1-4]/0)|(?P<b>\d{1,2}|[1-4]/0)\s*(?:awg|ga\.?|gauge)",
    re.IGNORECASE,
)
_LENGTH = re.compile(
    r"(?P<n>\d[\d.,'’\u202f ]*|[.,]\d+)\s*(?P<unit>mm|cm|m|in|inch(?:es)?|ft|feet|\"|')?\.?", re.IGNORECASE
)
METRES = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254, "ft": 0.3048}
"""Metres in each unit (the inch by international agreement of 1959)."""


def decimal_of(texts: Sequence[str]) -> str:
    """Return the mark that parts decimals in the numbers of these cells: the comma where only it does."""
    comma = any(re.match(r"\d*,\d+(?:\D|$)", text) for text in texts)
    point = any(re.match(r"\d*\.\d+(?:\D|$)", text) for text in texts)
    return "," if comma and not point else "."


def number_of(text: str, decimal: str, *, thousands: bool = False) -> float | None:
    """Return the number that a text writes, or `None`; in ``thousands`` groups of three may be parted."""
    said = text
    if thousands:
        said = re.sub(r"(?<=\d)['’\u202f ](?=\d{3}(?!\d))", "", said)
        if decimal == "." and re.fullmatch(r"\d{1,3}(?:,\d{3})+(?:\.\d+)?", said):
            said = said.replace(",", "")
    if decimal == ",":
        said = said.replace(".", "") if re.fullmatch(r"\d{1,3}(?:\.\d{3})+(?:,\d+)?", said) else said
        said = said.replace(",", ".")
    if not re.fullmatch(r"\d{1,9}(?:\.\d{0,9})?|\.\d{1,9}", said):
        return None
    return float(said)


def doubtful(text: str, unit: str, decimal: str) -> bool:
    """Whether a length that would be read as decimals may be thousands: ``1.250`` mm.

    In metres it is none: no wire is a kilometre long, and many are given to the millimetre.
    """
    match = _LENGTH.fullmatch(text.strip())
    said = (match["unit"] or unit).casefold() if match else ""
    return bool(
        match
        and said == "mm"
        and re.fullmatch(rf"[1-9]\d{{0,2}}{re.escape(decimal)}\d{{3}}", match["n"].strip())
    )


def section_of(text: str, unit: str, decimal: str) -> tuple[float | None, str] | None:
    """Return mm² and the size as written (for AWG and strands); `None` where the text is no size.

    ``unit`` is what a bare number is: ``mm2``, ``awg`` or empty (not known). 0 mm² is none, and no error.
    """
    said = text.strip()
    if match := _MM2.fullmatch(said):
        value = number_of(match["n"], decimal)
        return None if value is None else (value or None, "")
    if match := _AWG.fullmatch(said):
        return _section(f"{match['a'] or match['b']} AWG")
    if "/" in said:
        return _section(f"{said} AWG") if said.endswith("/0") else _section(said.replace(",", "."))
    value = number_of(said, decimal)
    if value is None or not unit:
        return None
    if unit == "awg":
        return _section(f"{said} AWG")
    # 18, 22 and 24 are gauges: nobody sells such a cable by mm².
    if value >= 18 and value not in METRIC_MM2:
        return None
    return (value or None), ""


def _section(said: str) -> tuple[float | None, str] | None:
    try:
        return sections.csa_mm2_of(said), said
    except ValueError:
        return None


def magnitudes(texts: Collection[str], decimal: str) -> list[str]:
    """Return which kinds of bare numbers a column holds: an answer about one kind is none about the other."""
    values = [value for text in texts if (value := number_of(text, decimal))]
    kinds = {
        "a number below 20": any(value < 20 for value in values),
        "one of 20 and more": any(v >= 20 for v in values),
    }
    return [kind for kind, held in kinds.items() if held]


def size_unit(texts: Collection[str], decimal: str) -> str:
    """Return what the bare numbers of a column of sizes are: ``mm2``, ``awg``, or empty where both fit."""
    numbers = [number_of(text, decimal) for text in texts if _NUMBER.fullmatch(text)]
    values = [value for value in numbers if value]
    if not values:
        return ""
    gauges = all(value.is_integer() and value <= 40 for value in values)
    metric = all(value in METRIC_MM2 for value in values)
    if metric and not gauges:
        return "mm2"
    if gauges and not metric:
        return "awg"
    return ""


def metres_of(text: str, unit: str, decimal: str) -> float | None:
    """Return a length in metres, by the unit in the cell or else by ``unit``; `None` where it is none."""
    match = _LENGTH.fullmatch(text.strip())
    if not match:
        return None
    value = number_of(match["n"].strip(), decimal, thousands=True)
    said = (match["unit"] or unit).casefold()
    said = {'"': "in", "'": "ft", "inch": "in", "inches": "in", "feet": "ft"}.get(said, said)
    if value is None or said not in METRES:
        return None
    return round(value * METRES[said], 9)


@dataclass(frozen=True, slots=True)
class Code:
    """The colour code of a list: its name, why, and those that fit as well and mean something else."""

    name: str
    why: str
    rivals: tuple[str, ...] = ()


def reads(code: str, texts: Collection[str]) -> int:
    """Return how many of these colours a code reads."""
    return sum(colours.parts_of(text, code) is not None for text in {*texts} if text)


def code_of(texts: Collection[str]) -> Code:
    """Decide the colour code of a whole list: the one that reads the most of its colours.

    Codes that read as many, and alike, are one; where they differ they are ``rivals``, to be asked about.
    """
    said = sorted({text for text in texts if text and not nothing(text) and text.casefold() not in SCREENS})
    if not said:
        return Code(colours.IEC_60757, "no colours")
    order = (colours.IEC_60757, colours.GERMAN, colours.US, colours.BS_AU_7, colours.JAPANESE)
    read = {code: [colours.parts_of(text, code) for text in said] for code in order}
    count = {code: sum(parts is not None for parts in found) for code, found in read.items()}
    most = max(count.values())
    if not most:
        return Code(colours.IEC_60757, "no code reads them")
    best = [code for code in order if count[code] == most]
    if all(text == text.lower() for text in said):
        # British and Japanese letters are capitals; what is written small is German or IEC 60757.
        best = [code for code in best if code not in (colours.BS_AU_7, colours.JAPANESE)] or best
    unlike = [code for code in best if read[code] != read[best[0]]]
    why = f"it reads {'all' if most == len(said) else f'{most} of'} {len(said)} colours"
    if len(said) == 1:
        why = "it reads the one colour"
    return Code(best[0], why, (best[0], *unlike) if unlike else ())
