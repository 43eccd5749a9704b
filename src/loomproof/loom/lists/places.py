"""What stands in the cells of an end: nothing, a place, several places, or a text that can be no name."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from loomproof.loom.text import LONGEST, flaw

SEPARATORS = (":", "/", ".", "-", " ")
"""Marks that may part connector from cavity in one text, in the order in which they are thought of."""

NOT_CONNECTED = frozenset(
    [
        "n/a",
        "na",
        "n.a.",
        "nc",
        "n.c.",
        "n/c",
        "none",
        "nil",
        "null",
        "open",
        "x",
        "unused",
        "spare",
        "free",
        "frei",
        "leer",
        "unbelegt",
        "not used",
        "not connected",
        "no connection",
        "nicht belegt",
        "not fitted",
        "unassigned",
        "no pin",
        "nan",
        "#n/a",
        "dnc",
        "dnp",
        "∅",
        "no connect",
        "unconnected",
        "unpopulated",
        "not populated",
        "not applicable",
        "vacant",
        "empty",
        "blank",
        "reserved",
        "blind plug",
        "cavity plug",
        "seal plug",
        "n.b.",
        "nb",
        "kein",
        "keine",
        "keiner",
        "reserve",
        "entfällt",
        "entfallen",
        "nicht angeschlossen",
        "nicht verbunden",
        "blindstopfen",
        "blindstecker",
        "non connecté",
        "non utilisé",
        "no conectado",
        "non collegato",
    ]
)
NOT_KNOWN = frozenset(
    [
        "?",
        "??",
        "???",
        "tbd",
        "tba",
        "tbc",
        "unknown",
        "unbekannt",
        "offen",
        "#ref!",
        "#value!",
        "#name?",
        "#div/0!",
        "#num!",
        "#null!",
    ]
)
TOTALS = frozenset(["total", "totals", "sum", "subtotal", "summe", "gesamt", "gesamtzahl", "anzahl"])

AS_ABOVE = frozenset(
    [
        '"',
        "''",
        "″",
        "”",
        "〃",
        '-"-',
        '--"--',
        '" "',
        "ditto",
        "do.",
        "dto",
        "dto.",
        "dito",
        "ditto.",
        "idem",
        "wie oben",
        "as above",
    ]
)
"""What stands for the cell above."""

LONGEST_NAME = 60
MOST_WORDS = 5
MOST_SPELLED = 200
"""Cavities that one cell may stand for."""

_DASHES = re.compile(r"[-‐-―−_.~*/\\]+")
_REMARK = re.compile(r"([^()]*[^()\s])\s+\(([^()]*)\)|(\d{1,4})\(([^()]*)\)")
"""A remark stands behind a blank, or right behind a number: ``2(GND)``. ``G404(s)`` is a name."""

_BRACKETED = re.compile(r"[(\[<]\s*([^()\[\]<>]{2,})\s*[)\]>]")


def nothing(text: str) -> str:
    """Return why a text is no end (``is empty``, ``says '-'``), or an empty text where it is one."""
    bare = without_remark(text)[0] if text[:1] != "(" else text
    said = " ".join(bare.casefold().split())
    if not said:
        return "is empty"
    if said.startswith("~~") and said.endswith("~~"):
        return "is struck out"
    if match := _BRACKETED.fullmatch(said):
        said = match[1]  # (NC), <none>, [spare]
    said = re.sub(r"\.\s+(?=\w)", ".", said)  # n. c.
    if _DASHES.fullmatch(said) or said in NOT_CONNECTED:
        return f"says {text!r}: no end"
    if said in NOT_KNOWN:
        return f"says {text!r}: not known"
    if said.rstrip(":") in TOTALS:
        return f"says {text!r}: the row of a sum"
    if re.match(r"\((?:free|spare|unused|not |frei|nicht )", said):
        return f"says {text!r}: no end"
    return ""


_PARTNERS = {"-": {"+"}, "nc": {"no", "com", "c", "common"}}


def empty_cavity(text: str, beside: Collection[str]) -> str:
    """Return why a cavity's text is none, as `nothing` does; ``beside`` are its connector's other cavities.

    A minus beside a plus is a terminal, ``NC`` beside ``NO`` or ``COM`` a contact, ``X`` beside other
    letters a cavity.
    """
    why = nothing(text)
    if not why:
        return ""
    said = text.strip().casefold().replace("−", "-")
    others = {name.strip().casefold() for name in beside}
    if others & _PARTNERS.get(said, set()):
        return ""
    letters = {name for name in others if len(name) == 1 and name.isalpha()} - {"x"}
    if said == "x" and (len(letters) > 2 or letters & {"w", "y", "z"}):
        return ""
    return why


def no_name(text: str, what: str = "name") -> str:
    """Return why a text can be no name of a connector or cavity, or an empty text where it can."""
    if text.startswith(("{", "[")) or '":' in text or "':" in text:
        return f"{_cut(text)!r} is data and no {what}"
    if len(text) > LONGEST_NAME:
        return f"{_cut(text)!r} is {len(text)} characters long: no {what}"
    # A remark in brackets is as long as it likes; a dash or a plus is no word.
    words = [word for word in without_remark(text)[0].split() if any(map(str.isalnum, word))]
    if len(words) > MOST_WORDS or (len(words) > 2 and text.endswith((".", "!", "?"))):
        return f"{_cut(text)!r} is a sentence and no {what}"
    if wrong := flaw(text):
        return f"{_cut(text)!r} {wrong}"
    return ""


def _cut(text: str) -> str:
    return text if len(text) <= 50 else f"{text[:50]}…"


def one_line(text: str) -> str:
    """Return a cell as a text of a loom: on one line, what cannot be printed as a question mark."""
    return "".join(mark if mark.isprintable() else "?" for mark in " ".join(text.split()))[:LONGEST].rstrip()


def without_remark(text: str) -> tuple[str, str]:
    """Return a text without the remark in brackets at its end, and the remark: ``C9 (BUTTON3)``."""
    match = _REMARK.fullmatch(text)
    if not match:
        return text, ""
    return (match[1], match[2]) if match[1] is not None else (match[3], match[4])


_LOOKALIKES = str.maketrans(
    "АВЕКМНОРСТУХаеорсухіΑΒΕΖΗΙΚΜΝΟΡΤΥΧο‐‑‒–—―−",
    "ABEKMHOPCTYXaeopcyxiABEZHIKMNOPTYXo-------",
)
"""Letters and dashes that look as Latin ones do (confusables of Unicode's technical standard 39)."""


def looks(name: str) -> str:
    """Return what two names that look alike have in common: capitals, blanks and remarks tell nothing."""
    bare = re.sub(r"\s*\([^()]*\)$", "", name) or name
    return re.sub(r"[\s_]+", "", bare.translate(_LOOKALIKES).casefold())


def pieces(text: str, marks: re.Pattern[str]) -> list[str]:
    """Return what marks part in a text; those within brackets belong to a remark and part nothing."""
    found: list[str] = []
    start = 0
    for match in marks.finditer(text):
        if text.count("(", 0, match.start()) <= text.count(")", 0, match.start()):
            found.append(text[start : match.start()])
            start = match.end()
    return [piece for piece in (*found, text[start:]) if piece]


_AT_END = re.compile(r"(.*?)(\s*\([^()]*\))", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Place:
    """An end as a list writes it: connector, and cavity or an empty text; ``remark`` stood in brackets."""

    connector: str
    cavity: str
    remark: str = ""


_CAVITY_LIKE = re.compile(
    r"[A-Za-z]?\d{1,4}[A-Za-z]{0,2}|\d{1,2}-\d{1,3}|[A-Za-z]{1,2}\d{1,4}|[A-Za-z]|[+-]", re.ASCII
)


_DOTTED = re.compile(r"([^.]+)\.(\w+\s*\.\.\.?\s*\w+)")
"""Where a dot parts connector from cavity: a range of cavities, ``J1.2..4``."""

_PIN = r"(?:pin|cavity|cav|pos|position|terminal|contact|kammer|kontakt|klemme)\.?"
_CALLED = r"[\s#:]*(?P<cavity>[A-Za-z]{0,2}\d{1,4}[A-Za-z]?|[A-Za-z])"
_PIN_OF = re.compile(
    rf"{_PIN}{_CALLED}\s+(?:of|on|at|von|an)\s+(?P<connector>\S.*)", re.IGNORECASE | re.ASCII
)
_PIN_AT = re.compile(rf"(?P<connector>\S.*?)[\s,]+{_PIN}{_CALLED}", re.IGNORECASE | re.ASCII)
"""Places in words: ``Pin 1 of J1``, ``J1 pin 1``."""

_CONNECTORS = re.compile(r"([A-Za-z]+)\d+\s*(?:\.\.\.?|…|–|—|\bto\b|\bbis\b)\s*\1\d+\b.*", re.IGNORECASE)
"""A range of connectors: ``C3..C10``, ``SW1–SW12 pin B``."""


def several_connectors(text: str) -> str:
    """Return why a text is not one connector but a range of them, or an empty text where it is one."""
    return f"{_cut(text)!r} is several connectors" if _CONNECTORS.fullmatch(text) else ""


def parted(text: str, separator: str, *, given: bool = False, known: Collection[str] = ()) -> tuple[str, str]:
    """Return connector and cavity of one text; the cavity is empty where the mark parts nothing.

    Of marks that names hold too (all but the colon) a cavity must look like one, unless the mark is
    ``given`` or the connector ``known`` from other places.
    """
    if not separator:
        return text, ""
    remark = _AT_END.fullmatch(text)
    if remark and not remark[1].endswith(separator):
        # A mark within brackets parts nothing: J1.2(3.3V) is cavity 2 of J1, with a remark.
        connector, cavity = parted(remark[1], separator, given=given, known=known)
        return (connector, f"{cavity}{remark[2]}") if cavity else (text, "")
    if separator == "." and ".." in text:
        ranged = _DOTTED.fullmatch(text)
        return (ranged[1], ranged[2]) if ranged else (text, "")
    if separator == " " and (spoken := _PIN_OF.fullmatch(text) or _PIN_AT.fullmatch(text)):
        return spoken["connector"], spoken["cavity"]
    connector, mark, cavity = text.rpartition(separator)
    connector, cavity = connector.strip(), cavity.strip()
    if not mark or not connector or not cavity:
        return text, ""
    if given or separator == ":" or connector in known:
        return connector, cavity
    if separator == ".":
        # 3.3V is a voltage and no cavity 3V of 3; pins of electronics have names as well: J1.VCC.
        return (text, "") if connector.isdecimal() else (connector, cavity)
    return (connector, cavity) if _CAVITY_LIKE.fullmatch(cavity) else (text, "")


def separators_of(texts: Sequence[str]) -> list[str]:
    """Return the marks that part the most of these texts, the likeliest first; none where none parts any."""
    counts = {mark: sum(bool(parted(text, mark)[1]) for text in texts) for mark in SEPARATORS}
    best = max(counts.values(), default=0)
    return [mark for mark in SEPARATORS if best and counts[mark] == best]


_SIMPLE = r"[A-Za-z]{0,3}\d{1,4}[A-Za-z]?|\d{0,3}[A-Za-z]"
_NUMBERS = re.compile(
    r"([A-Za-z]{0,3})(\d{1,4})\s*(?:-|–|—|\.\.\.?|…|\bto\b|\bbis\b)\s*([A-Za-z]{0,3})(\d{1,4})", re.ASCII
)
_LETTERS = re.compile(
    r"(\d{0,3})([A-Za-z])\s*(?:-|–|—|\.\.\.?|…|\bto\b|\bbis\b)\s*(\d{0,3})([A-Za-z])", re.ASCII
)
_COMMAS = re.compile(r"\s*(?:[,;&|\n]|\band\b|\bund\b|(?<=\w)\s*\+\s*(?=\w))\s*")
_SLASHES = re.compile(r"\s*/\s*")


def like_a_cavity(text: str) -> bool:
    """Whether a text looks like one cavity, or a range of them."""
    return bool(re.fullmatch(_SIMPLE, text, re.ASCII) or _range(text))


def spelled_as(text: str, count: int) -> tuple[str, ...]:
    """Return the cavities of a text that stands opposite so many: there ``A/B`` is a list as well."""
    parts = tuple(_SLASHES.split(text))
    lettered = len(parts) == count and all(re.fullmatch(r"[A-Za-z]", part, re.ASCII) for part in parts)
    return parts if lettered and len(set(parts)) == count else ()


def spelled(text: str) -> tuple[str, ...]:
    """Return the cavities that a text may stand for: a range (``2-4``, ``3W-3Z``), a list (``5,6``, ``7/8``).

    Empty where it is one name. Whether it is meant so is for whoever knows the rest of the list.
    """
    parts = list(_COMMAS.split(text))
    if len(parts) > 1:
        each = [_range(part) or ((part,) if re.fullmatch(_SIMPLE, part, re.ASCII) else ()) for part in parts]
        names = tuple(name for names in each for name in names)
        return names if all(each) and len(names) <= MOST_SPELLED else ()
    apart = text.split()
    if len(apart) > 1 and all(re.fullmatch(_SIMPLE, p, re.ASCII) and re.search(r"\d", p) for p in apart):
        return tuple(apart) if len(apart) <= MOST_SPELLED else ()
    slashed = _SLASHES.split(text)
    if len(slashed) > 1:
        alike = len({re.sub(r"\d+", "9", re.sub(r"[A-Za-z]", "A", part)) for part in slashed}) == 1
        simple = all(re.fullmatch(_SIMPLE, part, re.ASCII) for part in slashed)
        # R/W or A/C is a word; 7/8 and A3 / A4 are cavities.
        numbered = all(any(mark.isdigit() for mark in part) for part in slashed)
        padded = any(re.match(r"\D*0\d", part) for part in slashed) and len(set(map(len, slashed))) > 1
        return tuple(slashed) if alike and simple and numbered and not padded else ()
    return _range(text)


def _range(text: str) -> tuple[str, ...]:
    if match := _NUMBERS.fullmatch(text.strip()):
        head, first, again, last = match.groups()
        if again not in ("", head) or (len(first) > 1 and first[0] == "0" and len(last) != len(first)):
            return ()
        step = 1 if int(first) <= int(last) else -1
        numbers = range(int(first), int(last) + step, step)
        width = len(first) if first[0] == "0" or last[0] == "0" else 0
        return tuple(f"{head}{n:0{width}d}" for n in numbers) if len(numbers) <= MOST_SPELLED else ()
    if match := _LETTERS.fullmatch(text.strip()):
        head, low, again, high = match.groups()
        if again not in ("", head) or low.isupper() != high.isupper():
            return ()
        step = 1 if low <= high else -1
        return tuple(f"{head}{chr(code)}" for code in range(ord(low), ord(high) + step, step))
    return ()
