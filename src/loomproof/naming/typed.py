"""What a person types of an end, read: ``INJ1:2 RD/WH injector``, and what it comes to, said before Enter.

First the plug, then the cavity behind a colon or a blank; then kind, colour, designation and purpose, each of
which may be left out. A plug alone is the whole plug, ``:2`` the cavity alone, ``.`` the name as it is. What
stands in double quotes is a name or words, whatever it looks like.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from loomproof.errors import InputError
from loomproof.loom import colours, designations
from loomproof.loom.model import ConnectorKind, End
from loomproof.loom.text import flaw, next_name, shortened
from loomproof.naming.answers import Answer, Named, circuit_for, moves_of
from loomproof.naming.doubts import doubts

LONGEST_NAME = 40
"""Letters in a name: more fit on no label. Our convention."""

LONGEST_PURPOSE = 200
"""Letters in a purpose. Our convention."""

ORDERS = {
    "q": "Ctrl-D stops till later",
    "quit": "Ctrl-D stops till later",
    "exit": "Ctrl-D stops till later",
    "stop": "Ctrl-D stops till later",
    "u": "Ctrl-Z takes the last answer back",
    "undo": "Ctrl-Z takes the last answer back",
    "back": "Ctrl-Z takes the last answer back",
    "help": "the last lines of the screen say the keys",
    "?": "the last lines of the screen say the keys",
    "skip": "touch another end, or press PgDn for the next nameless one",
}
"""What people type to a program and seldom to a plug, with the key for it."""


class Word(NamedTuple):
    """A word of a typed line: where it begins, whether it stood in quotes, and whether a colon is behind."""

    text: str
    at: int
    quoted: bool = False
    colon: bool = False


def words_of(text: str) -> tuple[Word, ...]:
    """Return the words of a line. Raises `InputError` for a quote that is not closed."""
    words: list[Word] = []
    rest = text
    while rest.strip():
        rest = rest.lstrip()
        at, quoted = len(text) - len(rest), rest.startswith('"')
        try:
            word, rest = next_name(rest, text, ":" if len(words) < 1 else "")
        except ValueError:
            raise InputError("a double quote is not closed", cure="Close it, or take it out.") from None
        colon = rest.startswith(":") and not words
        words.append(Word(word, at, quoted, colon))
        if colon:
            rest = rest[1:]
    return tuple(words)


def read_answer(named: Named, end: End, text: str) -> Answer:
    """Return what a line says of an end (its name at the beginning). Raises `InputError` with the cure."""
    words = words_of(text)
    if not words:
        raise InputError("nothing is said", cure="Type the plug and the cavity, like INJ1:2.")
    first = words[0]
    if len(words) == 1 and not first.quoted and not first.colon and first.text.casefold() in ORDERS:
        raise InputError(
            ORDERS[first.text.casefold()],
            cure=f'A plug of that name is typed in quotes: "{first.text}".',
        )
    connector = "" if first.text in (".", "") and not first.quoted else _spelt(named, first)
    rest = words[1:]
    cavity = ""
    if first.colon:
        if not rest or not rest[0].text or rest[0].at != first.at + _width(text, first) + 1:
            raise InputError("a cavity is missing behind the colon", cure=f"Like {first.text or ''}:12.")
        if ":" in rest[0].text and not rest[0].quoted:
            raise InputError(
                f"this cavity, {shortened(rest[0].text, 20)}, has a colon in it",
                cure=f'Type one cavity, like {first.text}:2; in quotes a colon is part of the name: "2:1".',
            )
        cavity, rest = rest[0].text, rest[1:]
    elif rest and _is_cavity(rest[0]):
        cavity, rest = rest[0].text, rest[1:]
    for name, what in ((connector, "plug"), (cavity, "cavity")):
        _refuse(name, LONGEST_NAME, what)
    return _rest(Answer(end, connector, cavity), rest)


def _width(text: str, word: Word) -> int:
    return text.index(":", word.at + len(word.text)) - word.at if word.colon else len(word.text)


def _spelt(named: Named, word: Word) -> str:
    """Return a plug's name; typed small, it is that plug of the loom that is written so in large letters."""
    if word.quoted or word.text in named.loom.by_name:
        return word.text
    same = [name for name in named.loom.by_name if name.casefold() == word.text.casefold()]
    return same[0] if len(same) == 1 else word.text


def _is_cavity(word: Word) -> bool:
    """Whether a word behind a plug is a cavity's name: it has a figure in it, or is one letter alone."""
    return not word.quoted and (any(mark.isdigit() for mark in word.text) or len(word.text) == 1)


def _refuse(name: str, longest: int, what: str) -> None:
    if len(name) > longest:
        raise InputError(
            f"this {what}, {shortened(name, 20)}, has {len(name)} letters; {longest} is the most",
            cure="Take the name that stands on the loom or in its diagram.",
        )
    if why := flaw(name):
        raise InputError(f"this {what} {why}", cure="Type it again.")


def _rest(answer: Answer, words: tuple[Word, ...]) -> Answer:
    """Read kind, colour and designation, in any order; from the first other word on it is the purpose."""
    while words:
        kind, used = _kind(words)
        if kind is not None and answer.kind is None:
            answer, words = replace(answer, kind=kind), words[used:]
            continue
        colour, used = _colour(words)
        if colour and not answer.colour:
            answer, words = replace(answer, colour=colour), words[used:]
            continue
        word = words[0]
        known = not word.quoted and designations.is_known(word.text)
        if known and not answer.designation:
            answer, words = replace(answer, designation=word.text.replace("−", "-")), words[1:]
            continue
        purpose = " ".join(each.text for each in words)
        _refuse(purpose, LONGEST_PURPOSE, "purpose")
        return replace(answer, purpose=purpose)
    return answer


def _kind(words: tuple[Word, ...]) -> tuple[ConnectorKind | None, int]:
    for count in (2, 1):
        said = " ".join(each.text for each in words[:count]).casefold()
        if len(words) >= count and not any(each.quoted for each in words[:count]) and said in _KINDS:
            return ConnectorKind(said), count
    return None, 0


_KINDS = tuple(kind.value for kind in ConnectorKind if kind is not ConnectorKind.SPLICE)


def _colour(words: tuple[Word, ...]) -> tuple[str, int]:
    """Return the colour that the most of the first words say, and how many they are; "" for none."""
    for count in (3, 2, 1):
        if len(words) >= count and not any(each.quoted for each in words[:count]):
            try:
                return colours.read(" ".join(each.text for each in words[:count])), count
            except ValueError:
                continue
    return "", 0


def saying(named: Named, answer: Answer) -> str:
    """Return in words what an answer comes to. Raises `InputError` for one that can't be meant."""
    here = named.names[answer.end]
    moves = moves_of(named, here, answer)
    parts = []
    if answer.cavity:
        parts.append(f"{here} is {moves[here]}")
    elif answer.connector:
        count = len(moves)
        cavities = "its cavity keeps its name" if count == 1 else f"its {count} cavities keep their names"
        parts.append(f"the whole plug {here.connector} is {answer.connector}, {cavities}")
    if answer.kind is not None:
        parts.append(f"a {answer.kind.value}")
    if answer.colour:
        parts.append(f"wire {colours.name_of(answer.colour)}")
    circuit = circuit_for(named.loom, answer.purpose, answer.designation)
    if circuit is not None:
        meaning = f" ({circuit.purpose})" if circuit.purpose not in ("", circuit.name) else ""
        designation = f", {circuit.designation}" if circuit.designation else ""
        parts.append(f"its net is for {circuit.name}{meaning}{designation}")
    said = ", ".join(parts) or "its name stays as it is"
    return ". ".join((said, *doubts(named, answer)))
