"""Wire colours: read and written in three codes, held in one.

Held: IEC 60757 letters, tracer after a slash (``RD/WH``), ``light`` or ``dark`` before a letter code where
a code of origin has it (``light GN``), and the plain words ``bare`` and ``clear`` for what has no colour.

A letter can mean two colours (BS AU 7 ``G`` is green, ``GN`` green with brown; IEC 60757 ``GN`` is green;
German ``gr`` is grey, ``br`` brown), so a code is never guessed: the description says which it uses.

Sources: IEC 60757 (letters); DIN 47002 and DIN 72551 usage (German letters); BS AU 7 (British letters;
of these K, LG, O and Y from memory, see the project's reference table).
"""

from __future__ import annotations

import re
from functools import lru_cache

IEC_60757 = "IEC 60757"
BS_AU_7 = "BS AU 7"
GERMAN = "German"
CODES = (IEC_60757, BS_AU_7, GERMAN)
"""The codes by name, as ``colour_code`` in loom.toml says them."""

NAMES: dict[str, str] = {
    "BK": "black",
    "BN": "brown",
    "RD": "red",
    "OG": "orange",
    "YE": "yellow",
    "GN": "green",
    "BU": "blue",
    "VT": "violet",
    "GY": "grey",
    "WH": "white",
    "PK": "pink",
    "GD": "gold",
    "TQ": "turquoise",
    "SR": "silver",
    "GNYE": "green-and-yellow",
}
"""Letter codes of IEC 60757 and their colours, in the order of its table."""

_BRITISH: dict[str, str] = {
    "LG": "light GN",
    "B": "BK",
    "G": "GN",
    "K": "PK",
    "N": "BN",
    "O": "OG",
    "P": "VT",
    "R": "RD",
    "S": "GY",
    "U": "BU",
    "W": "WH",
    "Y": "YE",
}

_GERMAN: dict[str, str] = {
    "sw": "BK",
    "br": "BN",
    "rt": "RD",
    "or": "OG",
    "ge": "YE",
    "gn": "GN",
    "bl": "BU",
    "vi": "VT",
    "gr": "GY",
    "ws": "WH",
    "rs": "PK",
    "tk": "TQ",
}

_GERMAN_VARIANTS = {"li": "VT", "ro": "RD"}
"""Letters that some vehicle diagrams write (lila, rot); from memory. Read, never written."""

_WORDS = ("bare", "clear")
_GERMAN_WORDS = {"blk": "bare", "tr": "clear"}
_SHADES = {"hl": "light ", "dk": "dark "}


SAID_IN_LOOM_TOML = "colour_code in loom.toml says which code the table uses."
"""What `read` adds to its message where another code knows the letters."""


def name_of(colour: str) -> str:
    """Return a held colour in words: ``red/white``. A part that is no code stands as it is."""
    return "/".join(
        " ".join(NAMES.get(word, word) for word in part.split(" ")) for part in colour.split("/") if part
    )


@lru_cache(maxsize=4096)
def read(text: str, code: str = IEC_60757) -> str:
    """Return the colour held for what a table says in this code. Raises `ValueError` with what is wrong."""
    said = text.strip()
    if not said:
        return ""
    parts = _parts(said, code)
    if parts is None:
        others = [(other, _parts(said, other)) for other in CODES if other != code]
        also = " ".join(f"In {other} it is {name_of('/'.join(found))}." for other, found in others if found)
        cure = f" {also} {SAID_IN_LOOM_TOML}" if also else ""
        raise ValueError(f"{text!r} is no colour of {code}.{cure}")
    return "/".join(parts)


def write(colour: str, code: str = IEC_60757) -> str:
    """Return a held colour in a code. Raises `ValueError` where the code has no letters for it."""
    if not colour:
        return ""
    if code == IEC_60757:
        return colour
    if colour in _WORDS:
        return colour
    back = {held: letters for letters, held in (_BRITISH if code == BS_AU_7 else _GERMAN).items()}
    if code == GERMAN:
        back |= {held: letters for letters, held in _GERMAN_WORDS.items()}
    mark = "" if code == BS_AU_7 else "/"
    written: list[str] = []
    for part in colour.split("/"):
        shade, _, base = part.rpartition(" ")
        if part in back:
            written.append(back[part])
        elif part == "GNYE":
            written.append("gnge" if code == GERMAN else "GY")
        elif code == GERMAN and base in back and f"{shade} " in _SHADES.values():
            written.append(next(short for short, word in _SHADES.items() if word == f"{shade} ") + back[base])
        else:
            raise ValueError(f"{code} has no letters for {name_of(part)}")
    text = mark.join(written)
    if _parts(text, code) != colour.split("/"):
        raise ValueError(f"{code} cannot tell {name_of(colour)} from another colour")
    return text


def _parts(said: str, code: str) -> list[str] | None:
    if said.casefold() in _WORDS and code in CODES:
        return [said.casefold()]
    if code == BS_AU_7:
        return _split(re.sub(r"[/\- ]", "/", said.upper()), _BRITISH)
    if code == GERMAN:
        return _german(said.casefold())
    if code == IEC_60757:
        return _iec(said)
    raise ValueError(f"{code!r} is no colour code; {', '.join(CODES)} are")


def _iec(said: str) -> list[str] | None:
    parts: list[str] = []
    for part in re.split(r"[/-]", said):
        shade, _, letters = part.strip().rpartition(" ")
        shade, letters = shade.strip().lower(), letters.upper()
        if not shade and letters.lower() in _WORDS:
            parts.append(letters.lower())
        elif shade in ("light", "dark") and letters in NAMES:
            parts.append(f"{shade} {letters}")
        elif shade:
            return None
        elif letters in NAMES:
            parts.append(letters)
        else:
            pair = [letters[i : i + 2] for i in range(0, len(letters), 2)]
            if not pair or any(code not in NAMES for code in pair):
                return None
            parts += pair
    return parts


def _german(said: str) -> list[str] | None:
    parts: list[str] = []
    for part in re.split(r"[/\- ]", said):
        if part == "gnge":
            parts.append("GNYE")
            continue
        if part in _GERMAN_WORDS:
            parts.append(_GERMAN_WORDS[part])
            continue
        rest, before = part, len(parts)
        while rest:
            shade = _SHADES.get(rest[:2], "")
            rest = rest[2:] if shade else rest
            held = _GERMAN.get(rest[:2]) or _GERMAN_VARIANTS.get(rest[:2])
            if held is None:
                return None
            parts.append(shade + held)
            rest = rest[2:]
        if len(parts) == before:
            return None
    return parts


def _split(said: str, letters: dict[str, str]) -> list[str] | None:
    parts: list[str] = []
    for part in said.split("/"):
        rest = part
        if not rest:
            return None
        while rest:
            long = rest[:2] if rest[:2] in letters else rest[:1]
            if long not in letters:
                return None
            parts.append(letters[long])
            rest = rest[len(long) :]
    return parts
