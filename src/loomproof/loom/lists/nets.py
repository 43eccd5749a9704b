"""Lists with one row for each end: what has one net in common is joined.

Two ends make a wire. More make a splice: the list does not say how its wires run, and that is said.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from loomproof.errors import Problem
from loomproof.loom.lists.ends import Entry, Line, Work, rows_of
from loomproof.loom.lists.places import Place, looks, nothing, one_line
from loomproof.loom.text import first_of


@dataclass(frozen=True, slots=True)
class Run:
    """A wire as a list gives it: two places, the circuit, and the texts of its row by role."""

    a: Place
    b: Place
    texts: Mapping[str, str]
    sheet: str = ""
    row: int | None = None
    circuit: str = ""


@dataclass(slots=True)
class Joined:
    """What a list joins: runs, splices with what is known of them, cavities without a wire, labels, facts."""

    runs: list[Run] = field(default_factory=list)
    splices: dict[str, str] = field(default_factory=dict)
    lone: list[Place] = field(default_factory=list)
    labels: dict[str, str] = field(default_factory=dict)
    facts: dict[Place, str] = field(default_factory=dict)


def of_wires(entries: Sequence[Entry], work: Work) -> Joined:
    """Return the wires of a list with a row for each; one that stands there twice is one."""
    joined = Joined()
    first: dict[tuple[str, frozenset[Place]], int] = {}
    for entry in entries:
        a, b = entry.ends
        named = entry.texts.get("wire", "")
        ends = frozenset(Place(place.connector, place.cavity) for place in (a, b))
        if named and not nothing(named) and first.setdefault((named, ends), entry.row) != entry.row:
            where = f"row {first[named, ends]}"
            problem = f"left out: it is wire {one_line(named)} of {where} once more, with the same ends"
            work.left_out.append(Problem(problem, work.file, entry.sheet, entry.row, severity="warning"))
            continue
        circuit = entry.texts.get("circuit", "")
        joined.runs.append(
            Run(a, b, entry.texts, entry.sheet, entry.row, "" if set(circuit) <= set("-–—") else circuit)
        )
        for place, label in zip(entry.ends, entry.labels, strict=True):
            if label and not nothing(label):
                joined.labels.setdefault(place.connector, label)
    return joined


def of_pins(entries: Sequence[Entry]) -> Joined:
    """Return the cavities of a list that joins nothing, with what it says of each."""
    joined = Joined()
    for entry in entries:
        place = Place(entry.ends[0].connector, entry.ends[0].cavity)
        joined.lone.append(place)
        said = (entry.texts.get(role, "") for role in ("circuit", "colour", "note"))
        text = ", ".join(" ".join(text.split()) for text in said if text and not nothing(text))
        joined.facts[place] = "; ".join(dict.fromkeys(t for t in (joined.facts.get(place, ""), text) if t))
    return joined


def fill_nets(lines: Sequence[Line], work: Work) -> None:
    """Write a net into the rows below that hold an end and no net, where the list is of that kind."""
    blank = [
        line
        for line in lines
        if not line.texts.get("net") and not line.sides[0].why and line.sides[0].connector
    ]
    if not blank:
        return
    said = [line.texts["net"] for line in lines if line.texts.get("net")]
    once = max(Counter(said).values(), default=0) == 1
    numbers = [int(text) for text in said if text.isdecimal() and len(text) < 10]
    counted = once and len(numbers) == len(said) > 0 and numbers == sorted(numbers)
    answer = work.said("blank", ["an empty net"]) or (
        "above" if counted and lines[0].texts.get("net") else ""
    )
    if not answer and not once:
        answer = "none"  # Nets are repeated where they are meant: an empty one is none.
    if not answer:
        text = f"{rows_of(blank)}: an end stands without a net; is it the net above, or none?"
        work.ask("blank", text, ("above", "none"))
        return
    if answer == "above":
        above, circuit, sheet = "", "", ""
        empty = set(map(id, blank))
        for line in lines:
            if line.sheet != sheet:
                above, circuit, sheet = "", "", line.sheet
            if line.texts.get("net"):
                above, circuit = line.texts["net"], ""
            circuit = circuit or line.texts.get("circuit", "")
            if id(line) in empty and above:
                line.texts["net"] = above
        work.note(f"an empty net is taken as the one above ({rows_of(blank)})")


def of_nets(entries: Sequence[Entry], work: Work) -> Joined:
    """Return the wires and splices of a list with one row for each end."""
    joined = Joined()
    nets: dict[str, list[Entry]] = {}
    where: dict[Place, list[str]] = {}
    unused = _unused(entries, work)
    for entry in entries:
        place = Place(entry.ends[0].connector, entry.ends[0].cavity)
        net = entry.texts.get("net", "")
        if not net or nothing(net) or net in unused:
            joined.lone.append(place)
            continue
        if net not in where.setdefault(place, []):
            where[place].append(net)
            nets.setdefault(net, []).append(entry)
    twice = {place: found for place, found in where.items() if len(found) > 1}
    places = [f"{place.connector}:{place.cavity} ({', '.join(found)})" for place, found in twice.items()]
    answer = work.said("twice", places)
    if twice:
        shown = first_of(places, 4)
        if not answer:
            text = f"{shown} stand in more than one net: are these nets joined, or is such an end left out?"
            work.ask("twice", text, ("joined", "leave out"))
        elif answer == "leave out":
            work.note(f"ends in more than one net are left out of all: {shown}")
    singles: list[str] = []
    shapes: list[str] = []
    taken = {entry.ends[0].connector for entry in entries}
    for net, found in nets.items():
        kept = [
            e
            for e in found
            if answer != "leave out" or Place(e.ends[0].connector, e.ends[0].cavity) not in twice
        ]
        if len(kept) < len(found):
            joined.lone += [p for e in found if (p := Place(e.ends[0].connector, e.ends[0].cavity)) in twice]
        circuit = _circuit(net, found)
        if len(kept) == 1:
            singles.append(net)
            joined.lone.append(Place(kept[0].ends[0].connector, kept[0].ends[0].cavity))
        elif len(kept) == 2:
            texts = _agreed(kept)
            joined.runs.append(
                Run(kept[0].ends[0], kept[1].ends[0], texts, kept[0].sheet, kept[0].row, circuit)
            )
        elif kept:
            splice = _free(f"joint {circuit[:60]}".rstrip(), taken)
            shapes.append(circuit)
            joined.splices[splice] = f"net {circuit} of {len(kept)} ends; how its wires run is not known"
            for entry in kept:
                joined.runs.append(
                    Run(entry.ends[0], Place(splice, ""), entry.texts, entry.sheet, entry.row, circuit)
                )
    if singles:
        work.note(
            f"{_count(len(singles), 'net has', 'nets have')} one end and no wire: {first_of(singles, 8)}"
        )
    folded: dict[str, list[str]] = {}
    for net in nets:
        folded.setdefault(looks(net), []).append(net)
    for alike in folded.values():
        if len(alike) > 1:
            work.note(
                f"{' and '.join(map(repr, alike))} are taken as {len(alike)} nets",
                "If they are one, write one name in the list.",
            )
    if shapes:
        work.note(
            f"{_count(len(shapes), 'net joins', 'nets join')} more than two ends; how the wires run the list "
            f"does not say, and each is taken as one splice: {first_of(shapes, 8)}",
            "Where wires run from connector to connector, write them so in wires.csv.",
        )
    return joined


_UNUSED = re.compile(
    r"(?:n\.?/?c\.?|dnc|unconnected|unused|spare|reserved?|frei|free|no[ _-]?connect\w*|not[ _-]?connected)"
    r"(?:[\W_\d].*)?",
    re.IGNORECASE | re.DOTALL,
)
"""Names of nets that may gather what is joined to nothing: ``NC_J1``, ``NC / prep``, ``SPARE 1``."""


def _unused(entries: Sequence[Entry], work: Work) -> frozenset[str]:
    """Return the nets whose ends are joined to nothing; ask where a name leaves it open."""
    count = Counter(entry.texts.get("net", "") for entry in entries)
    names = [net for net, n in count.items() if n > 1 and _UNUSED.fullmatch(net) and not nothing(net)]
    answer = work.said("unused", names)
    if names and not answer:
        some = first_of([f"{net!r} ({count[net]} ends)" for net in names], 4)
        work.ask("unused", f"are the ends joined, or is each without a wire, in {some}?", ("joined", "none"))
    return frozenset(names if answer == "none" else ())


def _count(number: int, one: str, more: str) -> str:
    return f"1 {one}" if number == 1 else f"{number} {more}"


def _free(name: str, taken: set[str]) -> str:
    """Return the name, or the name with a number where it is taken."""
    found, n = name, 1
    while found in taken:
        n += 1
        found = f"{name} {n}"
    taken.add(found)
    return found


def _circuit(net: str, entries: Sequence[Entry]) -> str:
    """Return the one signal that the rows of a net give, beside its number; else the net itself."""
    signals = {e.texts.get("circuit", "") for e in entries} - {""}
    named = {text for text in signals if not nothing(text)}
    return one_line(f"{net} {named.pop()}" if len(named) == 1 and net not in named else net)


def _agreed(entries: Sequence[Entry]) -> dict[str, str]:
    """Return the texts that both ends of a wire give, or that only one of them does."""
    texts: dict[str, str] = {}
    for role in dict.fromkeys(role for entry in entries for role in entry.texts):
        said = list(dict.fromkeys(entry.texts.get(role, "") for entry in entries if entry.texts.get(role)))
        texts[role] = " or ".join(said)  # Two that differ are neither: they go into the note.
    return texts
