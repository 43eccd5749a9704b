"""How a typed line may go on: plugs, free cavities, colours, designations, kinds, purposes that are known."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from loomproof.errors import InputError
from loomproof.loom.colours import NAMES
from loomproof.loom.designations import DESIGNATIONS
from loomproof.loom.model import ConnectorKind, End, Loom
from loomproof.loom.nameless import is_nameless
from loomproof.loom.patterns import pattern
from loomproof.loom.text import natural, quoted
from loomproof.naming.answers import ENGINE, Named
from loomproof.naming.typed import Word, words_of

MOST = 8
"""So many ways to go on are offered: more are not read."""


class Candidate(NamedTuple):
    """One way to go on: the whole line after it, the word that is put in, and what that means."""

    line: str
    word: str
    meaning: str


@dataclass(frozen=True)
class Known:
    """What is known besides the loom itself: the plugs of the car's side or of a sister, what they are for.

    ``faces`` has the cavities of each plug, ``places`` where or what it is, ``purposes`` circuits with what
    they are for.
    """

    faces: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    places: Mapping[str, str] = field(default_factory=dict)
    purposes: Mapping[str, str] = field(default_factory=dict)


def known_of(loom: Loom | None) -> Known:
    """Return what a description of the car's side, or of a loom of the family, tells."""
    if loom is None:
        return Known()
    plugs = [c for c in loom.connectors if c.kind is not ConnectorKind.SPLICE]
    return Known(
        {c.name: c.cavities for c in plugs},
        {c.name: c.description or c.location for c in plugs},
        {c.name: c.purpose for c in loom.circuits},
    )


def completions(
    named: Named, known: Known, end: End | None, text: str, suggested: Iterable[str] = ()
) -> tuple[Candidate, ...]:
    """Return how a line may go on, likeliest first, `MOST` at most; ``suggested`` plugs before others."""
    try:
        words = words_of(text)
    except InputError:
        return ()
    begins = not text or text[-1].isspace() or (text.endswith(":") and len(words) == 1)
    head = text if begins else text[: words[-1].at]
    start = "" if begins else words[-1].text
    before = words if begins else words[:-1]
    if not before:
        found = _plugs(named, known, suggested)
    elif len(before) == 1 and (before[0].colon or not start or any(map(str.isdigit, start))):
        found = _cavities(named, known, end, before[0])
        if not before[0].colon and not start:
            found = iter([*list(found)[:3], *_others(named, known, start)])
    else:
        found = _others(named, known, start)
    near = [each for each in dict.fromkeys(found) if _fits(each, start)]
    near.sort(key=lambda each: not any(text.casefold().startswith(start.casefold()) for text in each))
    return tuple(
        Candidate(head + quoted(word), word, meaning) for word, meaning in near[:MOST] if word != start
    )


def _fits(each: tuple[str, str], start: str) -> bool:
    """Whether a word goes on from what is typed, or a word of its meaning does."""
    said = start.casefold()
    word, meaning = each
    return word.casefold().startswith(said) or (
        len(said) > 1 and any(part.startswith(said) for part in meaning.casefold().split())
    )


def _plugs(named: Named, known: Known, suggested: Iterable[str]) -> Iterator[tuple[str, str]]:
    for name in suggested:
        yield name, "suggested"
    for connector in named.loom.connectors:
        if connector.kind is not ConnectorKind.SPLICE and not is_nameless(connector):
            count = len(connector.cavities)
            yield connector.name, f"in this loom, {count} {'cavity' if count == 1 else 'cavities'}"
    for name in known.faces:
        if name not in named.loom.by_name:
            yield name, known.places.get(name, "") or "the car's side"


def _cavities(named: Named, known: Known, end: End | None, plug: Word) -> Iterator[tuple[str, str]]:
    """Yield free cavities: of a known face, then the next number, then what it was traced as."""
    here = named.names[end] if end is not None else None
    name = plug.text or (here.connector if here else "")
    same = [each for each in (*named.loom.by_name, *known.faces) if each.casefold() == name.casefold()]
    name = name if name in same or not same else same[0]
    there = named.loom.by_name.get(name)
    taken = set(there.cavities) if there is not None else set()
    for cavity in known.faces.get(name, ()):
        if cavity not in taken:
            yield cavity, "free on its face"
    if end is not None and end.cavity not in taken:
        yield end.cavity, "as on the adapter"
    numbers = [cavity for cavity in taken if cavity.isascii() and cavity.isdigit() and len(cavity) < 6]
    if numbers:
        last = max(numbers, key=natural)
        yield str(int(last) + 1).zfill(len(last)), "the next one"


def _others(named: Named, known: Known, start: str) -> Iterator[tuple[str, str]]:
    base, mark, _ = start.rpartition("/")
    if mark and base.upper() in NAMES:
        for code, name in NAMES.items():
            yield f"{base.upper()}/{code}", f"{NAMES[base.upper()]}/{name}"
        return
    for code, name in NAMES.items():
        yield code, name
    for kind in ConnectorKind:
        if kind is not ConnectorKind.SPLICE and " " not in kind.value:
            yield kind.value, "a kind of end"
    if start:
        yield from DESIGNATIONS.items()
    for circuit in named.loom.circuits:
        yield circuit.name, circuit.purpose or "a circuit of this loom"
    for name, purpose in known.purposes.items():
        yield name, purpose or "a circuit of the car's side"
    for row in pattern(ENGINE):
        yield row.circuit, row.purpose
