"""From what a list joins to the values of a loom; what could not be read goes into notes, with a warning."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace

from loomproof.errors import Do, Problem, Todo
from loomproof.loom import checking, colours
from loomproof.loom.lists import sizes
from loomproof.loom.lists.ends import Work
from loomproof.loom.lists.nets import Joined, Run
from loomproof.loom.lists.places import Place, nothing, one_line, without_remark
from loomproof.loom.lists.spelling import SPLICE, bare_colour, read_colour
from loomproof.loom.model import CavityFacts, Circuit, Connector, ConnectorKind, End, Loom, Wire
from loomproof.loom.text import LONGEST, first_of, list_of, natural


@dataclass(frozen=True, slots=True)
class Units:
    """How the cells of wires are read: colour code, decimal mark, and what bare numbers are."""

    code: str
    decimal: str
    size: str
    length: str
    decimal_said: bool = False

    @property
    def sizes(self) -> tuple[tuple[str, str], ...]:
        """The columns that a size may stand in, with what a bare number is there."""
        return ("csa_mm2", "mm2"), ("awg", "awg"), ("section", self.size)

    @property
    def lengths(self) -> tuple[tuple[str, str], ...]:
        """The columns that a length may stand in, with what a bare number is there."""
        return ("length_m", "m"), ("length_mm", "mm"), ("length", self.length)

    def doubtful(self, role: str, text: str) -> bool:
        """Whether this column's text may be thousands or decimals, and nobody said which mark is which."""
        unit = dict(self.lengths).get(role)
        return unit is not None and not self.decimal_said and sizes.doubtful(text, unit, self.decimal)


def loom_of(joined: Joined, units: Units, name: str, headings: Mapping[str, str], work: Work) -> Loom:
    """Build the loom; notes and problems go to ``work`` at the list's own rows and headings."""
    kinds, cavities = _connectors(joined)
    connectors: list[Connector] = []
    for connector, kind in kinds.items():
        rows = (tuple(sorted(cavities[connector], key=natural)),) if kind is ConnectorKind.PLUG else ()
        rows = (("1",),) if kind is ConnectorKind.RING else rows
        description = joined.splices.get(connector, "") or joined.labels.get(connector, "")
        connectors.append(
            Connector(connector, kind, rows, one_line(description if description != connector else ""))
        )
    _say_kinds(kinds, joined, work)
    wires, rows_by_wire = _wires(joined, kinds, units, headings, work)
    loom = Loom(
        name,
        connectors=tuple(connectors),
        wires=tuple(wires),
        circuits=tuple(Circuit(c) for c in dict.fromkeys(wire.circuit for wire in wires if wire.circuit)),
    )
    loom = replace(loom, cavity_facts=_facts(loom, joined, work))
    where = checking.Places({"wires": (work.file, "")}, {"wires": rows_by_wire})
    work.problems += [
        replace(p, column=headings.get(p.column, p.column)) for p in checking.errors(loom, where)
    ]
    _near_names(kinds, work)
    _near_cavities(cavities, work)
    return loom


def _connectors(joined: Joined) -> tuple[dict[str, ConnectorKind], dict[str, dict[str, None]]]:
    """Return the kind of each connector in the list's order, and the cavities that the list names."""
    cavities: dict[str, dict[str, None]] = {}
    for place in [*(p for run in joined.runs for p in (run.a, run.b)), *joined.lone]:
        found = cavities.setdefault(place.connector, {})
        if place.cavity:
            found[place.cavity] = None
    kinds: dict[str, ConnectorKind] = {}
    for connector, found in cavities.items():
        kinds[connector] = ConnectorKind.PLUG
        if not found:
            is_splice = connector in joined.splices or SPLICE.fullmatch(connector)
            kinds[connector] = ConnectorKind.SPLICE if is_splice else ConnectorKind.RING
    return kinds, cavities


def _say_kinds(kinds: Mapping[str, ConnectorKind], joined: Joined, work: Work) -> None:
    if ConnectorKind.PLUG in kinds.values():
        work.note(
            "each plug has the cavities that the list names, in one row",
            "Write its rows as seen from the mating face, with the spare ones, so that neighbours are known.",
        )
    for kind, text in ((ConnectorKind.SPLICE, "splices"), (ConnectorKind.RING, "ring terminals")):
        names = [name for name, found in kinds.items() if found is kind and name not in joined.splices]
        if names:
            message = f"places without a cavity are taken as {text}: {', '.join(names)}"
            short = f"places without a cavity are taken as {text}: {first_of(names, 8)}"
            note = Problem(
                message,
                work.file,
                cure="Change kind in connectors.csv where it is wrong.",
                severity="warning",
            )
            work.notes.append(replace(note, short=short) if len(names) > 9 else note)


def _near_names(kinds: Mapping[str, ConnectorKind], work: Work) -> None:
    """Say which names differ in capitals, blanks or marks only: one connector may be written in two ways."""
    alike: dict[str, list[str]] = {}
    for name in kinds:
        alike.setdefault(re.sub(r"[\W_]+", "", name.casefold()), []).append(name)
    for names in alike.values():
        if len(names) > 1:
            work.note(
                f"{' and '.join(map(repr, names))} are taken as {len(names)} connectors",
                "If they are one, write one name in the list.",
            )


def _near_cavities(cavities: Mapping[str, Mapping[str, None]], work: Work) -> None:
    """Say where cavities of one connector are one number, written in two ways: ``01`` and ``1``, ``2.0``."""
    for connector, names in cavities.items():
        alike: dict[str, list[str]] = {}
        for name in names:
            bare = re.sub(r"^(?:(?:pin|pol|cavity|no\.?|nr\.?)\s*|#)(?=\d)", "", name, flags=re.IGNORECASE)
            alike.setdefault(re.sub(r"^(\D*)0+(?=\d)|\.0$", r"\1", bare), []).append(name)
        for found in alike.values():
            if len(found) > 1:
                work.note(
                    f"{' and '.join(map(repr, found))} are taken as {len(found)} cavities of {connector}",
                    "If they are one, write it in one way in the list.",
                )


def _end(place: Place, kinds: Mapping[str, ConnectorKind]) -> End:
    return End(place.connector, "1" if kinds[place.connector] is ConnectorKind.RING else place.cavity)


def _wires(
    joined: Joined, kinds: Mapping[str, ConnectorKind], units: Units, headings: Mapping[str, str], work: Work
) -> tuple[list[Wire], list[int]]:
    said = [one_line(run.texts.get("wire", "")) for run in joined.runs]
    count = Counter(said)
    names = _names(said)
    wires: list[Wire] = []
    rows: list[int] = []
    unread: dict[str, list[tuple[int, str]]] = {}
    shaded: list[tuple[int, str, str]] = []
    for run, name in zip(joined.runs, names, strict=True):
        notes: list[str] = []
        note = one_line(run.texts.get("note", ""))
        colour = _colour(run, units, notes, unread)
        if re.search("light |dark ", colour):
            shaded.append((run.row or 0, one_line(run.texts["colour"]), colour))
        csa_mm2, section = _section(run, units, notes, unread)
        length_m = _length(run, units, notes, unread)
        remarks = [
            f"{place.connector}:{place.cavity} {place.remark}" for place in (run.a, run.b) if place.remark
        ]
        text = "; ".join([*([note] if note and not nothing(note) else []), *notes, *remarks])
        a, b = _end(run.a, kinds), _end(run.b, kinds)
        if a == b:
            problem = Problem(
                f"left out: it starts and ends at {a}", work.file, run.sheet, run.row, severity="warning"
            )
            work.left_out.append(problem)
            continue
        wires.append(
            Wire(
                name,
                a,
                b,
                colour,
                csa_mm2,
                length_m,
                one_line(run.circuit),
                note=text[:LONGEST],
                section=section,
            )
        )
        rows.append(run.row or 0)
    for role, found in unread.items():
        row, text = found[0]
        so_many = len({at for at, _ in found})
        more = f" ({so_many} rows)" if so_many > 1 else ""
        size_or_length = "no length" if role.startswith("length") else "no size"
        what = f"no colour of {units.code}" if role == "colour" else size_or_length
        if units.doubtful(role, text):
            mark = "," if units.decimal == "." else "."
            work.note(
                f"{text!r} may be thousands or decimals{more}, and stands in the wire's note",
                f"Where decimals of this list are parted by {mark!r} it is thousands; say which mark does.",
                row,
                headings.get(role, role),
                do=Do(Todo.DECIMAL, mark),
            )
            continue
        other = _with_the_other_mark(role, text, units)
        if role in dict(units.lengths) and not other and sizes.number_of(text, units.decimal) is not None:
            work.note(
                f"{text!r} is a length without its unit{more}, and stands in the wire's note",
                "Say in what the lengths are: mm, cm, m, in or ft.",
                row,
                headings.get(role, role),
                do=Do(Todo.ANSWER, "length=mm"),
            )
            continue
        work.note(
            f"{text!r} is {what}{more} and stands in the wire's note",
            f"Decimals of this list are parted by {units.decimal!r}; with {other!r} it is one."
            if other
            else "",
            row,
            headings.get(role, role),
            do=Do(Todo.DECIMAL, other) if other else None,
        )
    if shaded:
        row, text, colour = shaded[0]
        more = f" (and {len(shaded) - 1} more with light or dark)" if len(shaded) > 1 else ""
        work.note(
            f"{text!r} is held as {colour!r}{more}: IEC 60757 has no letters for light and dark",
            "",
            row,
            headings.get("colour", "colour"),
        )
    if any(n > 1 for text, n in count.items() if text):
        twice = [text for text, n in count.items() if text and n > 1]
        work.note(
            f"{', '.join(twice[:6])}{' and more' if len(twice) > 6 else ''}: the name stands on several "
            "wires, which are told apart by a number after it"
        )
    return _grouped(wires, joined, names), rows


def _with_the_other_mark(role: str, text: str, units: Units) -> str:
    """Return the other decimal mark where it makes a size or a length of this text; else nothing."""
    other = "." if units.decimal == "," else ","
    if other not in text or role == "colour":
        return ""
    lengths = dict(units.lengths)
    read: object = (
        sizes.metres_of(text, lengths[role], other)
        if role in lengths
        else sizes.section_of(text, dict(units.sizes)[role], other)
    )
    return "" if read is None else other


def _names(said: list[str]) -> list[str]:
    """Return a name for each wire: the list's own, told apart where it stands twice; else W1, W2, …"""
    taken = {text for text in said if text}
    used: set[str] = set()
    names: list[str] = []
    for number, text in enumerate(said, 1):
        name = "" if nothing(text) else text
        first = name or f"W{number}"
        candidate, n = first, 1
        while candidate in used or (candidate != name and candidate in taken):
            n += 1
            candidate = f"{first} ({n})"
        used.add(candidate)
        names.append(candidate)
    return names


def _colour(run: Run, units: Units, notes: list[str], unread: dict[str, list[tuple[int, str]]]) -> str:
    said = one_line(run.texts.get("colour", ""))
    bare = bare_colour(said)
    remark = without_remark(said)[1]
    # White (red) may be white with a red tracer: half a colour is none.
    half = remark and any(colours.parts_of(remark, code) for code in (units.code, colours.IEC_60757))
    held = None if half else read_colour(bare, units.code)
    if held is None:
        notes.append(f"colour: {said}")
        if bare.strip(" .()").casefold() in sizes.SCREENS:
            return ""  # It says that this is a screen, which has none.
        unread.setdefault("colour", []).append((run.row or 0, said))
        return ""
    if held and bare != said:
        notes.append(f"colour: {said}")
    return held


def _section(
    run: Run, units: Units, notes: list[str], unread: dict[str, list[tuple[int, str]]]
) -> tuple[float | None, str]:
    for role, unit in units.sizes:
        said = one_line(run.texts.get(role, ""))
        if not said or nothing(said):
            continue
        found = sizes.section_of(said, unit, units.decimal)
        if found is None:
            notes.append(f"size: {said}")
            unread.setdefault(role, []).append((run.row or 0, said))
            continue
        return found
    return None, ""


def _length(
    run: Run, units: Units, notes: list[str], unread: dict[str, list[tuple[int, str]]]
) -> float | None:
    for role, unit in units.lengths:
        said = one_line(run.texts.get(role, ""))
        if not said or nothing(said):
            continue
        found = None if units.doubtful(role, said) else sizes.metres_of(said, unit, units.decimal)
        if found is not None:
            return found
        notes.append(f"length: {said}")
        unread.setdefault(role, []).append((run.row or 0, said))
    return None


def _grouped(wires: list[Wire], joined: Joined, names: list[str]) -> list[Wire]:
    """Write who is twisted with whom and screened by what, where columns say so."""
    by_name = {wire.name: wire for wire in wires}
    twisted = {n: one_line(run.texts.get("twisted", "")) for run, n in zip(joined.runs, names, strict=True)}
    screens = {n: one_line(run.texts.get("screen", "")) for run, n in zip(joined.runs, names, strict=True)}
    groups: dict[str, list[str]] = {}
    for name, text in twisted.items():
        if text and not nothing(text) and name in by_name:
            groups.setdefault(text, []).append(name)
    result: list[Wire] = []
    for wire in wires:
        text, screen = twisted[wire.name], screens[wire.name]
        partners = [text] if text in by_name and text != wire.name else groups.get(text, [])
        others = [name for name in partners if name != wire.name]
        note = wire.note
        if screen and not nothing(screen) and (screen not in by_name or screen == wire.name):
            note = "; ".join(t for t in (note, f"screen: {screen}") if t)
        held = screen if screen in by_name and screen != wire.name else ""
        result.append(replace(wire, twisted_with=list_of(others), screened_by=held, note=note))
    return result


def _facts(loom: Loom, joined: Joined, work: Work) -> tuple[CavityFacts, ...]:
    """Return the cavities that hold several wires, with a warning each, and what a list of pins says."""
    single = {c.name for c in loom.connectors if c.kind in checking.SINGLE_CRIMP}
    cavities = set(loom.cavities)
    facts: dict[End, CavityFacts] = {}
    for place, text in joined.facts.items():
        end = End(place.connector, place.cavity)
        if text and end in cavities:
            facts[end] = CavityFacts(end, note=one_line(text))
    for end, wires in loom.wires_at.items():
        if end.connector in single and len(wires) > 1:
            facts[end] = CavityFacts(end, note=facts[end].note if end in facts else "", shared=True)
            work.note(
                f"{end} holds {', '.join(wire.name for wire in wires)}: taken as crimped into one terminal",
                "If one of them belongs elsewhere, correct it and take the cavity out of cavities.csv.",
            )
    return tuple(facts.values())
