"""Wire colours: read and written in five codes and in words, held in one.

Held: IEC 60757 letters, tracer after a slash (``RD/WH``), ``light`` or ``dark`` before a letter code where
a code of origin has it (``light GN``), and the plain words ``bare`` and ``clear`` for what has no colour.

A letter can mean two colours (BS AU 7 ``G`` is green, ``GN`` green with brown; IEC 60757 ``GN`` is green;
German ``gr`` is grey, ``br`` brown), so a code is never guessed for one colour: the description says
which it uses. Words are looked for before letters (``brown`` is never black, red, orange, white and brown),
and at most a base and two tracers are read.

Sources: IEC 60757 (letters); DIN 47002 and DIN 72551 usage (German letters); BS AU 7 (British letters;
of these K, LG, O and Y from memory, see the project's reference table). The abbreviations of English
words that North American lists use are common practice; the Japanese letters are those of JIS C 3406
(B G L O P R V W Y, Br, Gr, Lg, Sb), from memory, with the capitals that diagrams write.
"""

from __future__ import annotations

import re
from functools import lru_cache

IEC_60757 = "IEC 60757"
BS_AU_7 = "BS AU 7"
GERMAN = "German"
US = "US"
JAPANESE = "Japanese"
CODES = (IEC_60757, BS_AU_7, GERMAN, US, JAPANESE)
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

_US: dict[str, str] = {
    "BLK": "BK",
    "BRN": "BN",
    "RED": "RD",
    "ORN": "OG",
    "YEL": "YE",
    "GRN": "GN",
    "BLU": "BU",
    "VIO": "VT",
    "GRY": "GY",
    "WHT": "WH",
    "PNK": "PK",
    "TAN": "tan",
}

_US_VARIANTS: dict[str, str] = {
    "ORG": "OG",
    "ORA": "OG",
    "PUR": "VT",
    "PPL": "VT",
    "GRA": "GY",
    "TRQ": "TQ",
    "BK": "BK",
    "BN": "BN",
    "BR": "BN",
    "RD": "RD",
    "OG": "OG",
    "OR": "OG",
    "YE": "YE",
    "YL": "YE",
    "GN": "GN",
    "BU": "BU",
    "VT": "VT",
    "VI": "VT",
    "PU": "VT",
    "GY": "GY",
    "WH": "WH",
    "WT": "WH",
    "PK": "PK",
    "TN": "tan",
}
"""Read, never written. ``BL`` and ``GR`` stand for two colours each and are left out."""

_JAPANESE: dict[str, str] = {
    "B": "BK",
    "BR": "BN",
    "R": "RD",
    "O": "OG",
    "Y": "YE",
    "G": "GN",
    "LG": "light GN",
    "L": "BU",
    "SB": "light BU",
    "V": "VT",
    "GR": "GY",
    "W": "WH",
    "P": "PK",
    "T": "tan",
}

_JAPANESE_VARIANTS = {"GY": "GY", "PU": "VT", "DG": "dark GN", "DL": "dark BU"}

_WORDS = ("bare", "clear", "tan")
_GERMAN_WORDS = {"blk": "bare", "tr": "clear"}
_SHADES = {"hl": "light ", "dk": "dark "}

_IN_ENGLISH = {
    **{name: code for code, name in NAMES.items() if code != "GNYE"},
    "gray": "GY",
    "purple": "VT",
    "lilac": "VT",
    "natural": "clear",
    "transparent": "clear",
    **{word: word for word in _WORDS},
}
_IN_GERMAN = {
    "schwarz": "BK",
    "braun": "BN",
    "rot": "RD",
    "orange": "OG",
    "gelb": "YE",
    "grün": "GN",
    "gruen": "GN",
    "blau": "BU",
    "violett": "VT",
    "lila": "VT",
    "grau": "GY",
    "weiß": "WH",
    "weiss": "WH",
    "rosa": "PK",
    "türkis": "TQ",
    "tuerkis": "TQ",
    "gold": "GD",
    "silber": "SR",
    "blank": "bare",
    "transparent": "clear",
}
_SHADE_WORDS = {"light": "light ", "lt": "light ", "dark": "dark ", "dk": "dark "}
_GERMAN_SHADE_WORDS = {"hell": "light ", "dunkel": "dark "}

MOST_PARTS = 3
"""A base and two tracers."""


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
    parts = parts_of(said, code)
    if parts is None:
        others = [(other, parts_of(said, other)) for other in CODES if other != code]
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
    letters_of = {BS_AU_7: _BRITISH, GERMAN: _GERMAN, US: _US, JAPANESE: _JAPANESE}[code]
    back = {held: letters for letters, held in letters_of.items()}
    if code == GERMAN:
        back |= {held: letters for letters, held in _GERMAN_WORDS.items()}
    mark = "" if code == BS_AU_7 else "/"
    written: list[str] = []
    for part in colour.split("/"):
        shade, _, base = part.rpartition(" ")
        if part in back:
            written.append(back[part])
        elif part == "GNYE" and code in (GERMAN, BS_AU_7):
            written.append("gnge" if code == GERMAN else "GY")
        elif code == GERMAN and base in back and f"{shade} " in _SHADES.values():
            written.append(next(short for short, word in _SHADES.items() if word == f"{shade} ") + back[base])
        elif code == US and base in back and shade in ("light", "dark"):
            written.append({"light": "LT ", "dark": "DK "}[shade] + back[base])
        else:
            raise ValueError(f"{code} has no letters for {name_of(part)}")
    text = mark.join(written)
    if parts_of(text, code) != tuple(colour.split("/")):
        raise ValueError(f"{code} cannot tell {name_of(colour)} from another colour")
    return text


@lru_cache(maxsize=4096)
def parts_of(text: str, code: str) -> tuple[str, ...] | None:
    """Return base and tracers as held, or `None` where this code does not read the text."""
    found = _parts(text.strip(), code)
    return tuple(found) if found else None


def _parts(said: str, code: str) -> list[str] | None:
    if code not in CODES:
        raise ValueError(f"{code!r} is no colour code; {', '.join(CODES)} are")
    if said.casefold() in _WORDS:
        return [said.casefold()]
    found = _in_words(said, code)
    if found is None and code == BS_AU_7:
        found = _split(re.sub(r"[/\- ]", "/", said.upper()), _BRITISH)
    elif found is None and code == GERMAN:
        found = _german(said.casefold())
    elif found is None and code == IEC_60757:
        found = _iec(said)
    elif found is None and code == US:
        found = _american(said.upper())
    elif found is None:
        letters = _JAPANESE | _JAPANESE_VARIANTS
        each = [letters.get(part, "") for part in re.split(r"[/-]", said.upper())]
        found = each if all(each) else None
    return found if found and len(found) <= MOST_PARTS else None


def _in_words(said: str, code: str) -> list[str] | None:
    """Return what a colour in words says: ``black/white``, ``dunkelblau``, ``LT GRN``.

    German letters and English words are not mixed: ``blk`` is bare in the one and black in the other.
    """
    words, shades = dict(_IN_GERMAN), dict(_GERMAN_SHADE_WORDS)
    if code != GERMAN:
        words |= _IN_ENGLISH | {letters.casefold(): held for letters, held in _US.items()}
        words |= {k.casefold(): held for k, held in _US_VARIANTS.items() if len(k) == 3}
        shades |= _SHADE_WORDS
    parts: list[str] = []
    shade = ""
    for word in re.split(r"[/\-_,+ ]+|(?<=[a-zß])(?=[A-Z])", said):
        plain = word.casefold()
        if plain in ("with", "and", "mit", "und", "stripe", "tracer"):
            continue
        if plain in shades and not shade:
            shade = shades[plain]
            continue
        front = next((s for s in shades if plain.startswith(s) and plain[len(s) :] in words), "")
        held = words.get(plain[len(front) :])
        if held is None or (front and shade):
            return None
        shade = shade or shades.get(front, "")
        if shade and held not in NAMES:
            return None
        parts.append(shade + held)
        shade = ""
    return parts if parts and not shade else None


def _american(said: str) -> list[str] | None:
    letters = _US | _US_VARIANTS
    parts: list[str] = []
    for part in re.split(r"[/-]", said):
        bare = part.replace(" ", "")
        pair = [bare[i : i + 2] for i in range(0, len(bare), 2)]
        shade = next((s for s in ("LT", "DK") if bare.startswith(s) or bare.endswith(s)), "")
        base = bare.removeprefix(shade) if bare.startswith(shade) else bare.removesuffix(shade)
        if bare in letters:
            parts.append(letters[bare])
        elif shade and letters.get(base) in NAMES:
            parts.append({"LT": "light ", "DK": "dark "}[shade] + letters[base])
        elif " " not in part and len(bare) in (4, 6) and all(two in letters for two in pair):
            parts += [letters[two] for two in pair]
        else:
            return None
    return parts


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
            if not pair or len(letters) % 2 or any(code not in NAMES for code in pair):
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
