"""Faults as people write them: ``open W12 at ECU:7``, ``leak 22k ECU:3 ECU:4``, ``loose C3:2 4 Hz``.

Names that hold spaces or colons stand in double quotes (``short "rear lamp":1 ECU:4``). A ring or
any other connector of one cavity may be written without it (``E1`` for ``E1:1``).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from loomproof.errors import UsageError, suggestion
from loomproof.loom.checking import near_miss
from loomproof.loom.model import ComponentKind, ConnectorKind, End, Loom, ends_of
from loomproof.loom.text import quoted

GRAMMAR = """\
open W12 | open W12 at ECU:7 | open ECU:7 | open S2
open W12 at ECU:7 0.62 m
high OHM W12 | high OHM W12 at ECU:7 | high OHM ECU:7 | high OHM S2
short ECU:3 ECU:4 | leak OHM ECU:3 ECU:4
short W12 at ECU:7 0.62 m W40 at ECU:9 0.6 m
leak OHM W12 at ECU:7 0.62 m W40 at ECU:9 0.6 m
breakdown VOLT ECU:3 ECU:4
swap C2:1 C2:2 | move C2:1 C2:5 | exchange C5 C6
mirror C5 | rotate C5 | shift C5
reversed D1 | missing R1 | value OHM R1 | blown F1
part OHM ECU:3 ECU:4 | part diode ECU:3 ECU:4 | part led ECU:3 ECU:4
loose C3:2 4 Hz | loose W12 4 Hz
voltage VOLT FC:1 | voltage VOLT FC:1 FC:2
charged FARAD VOLT FC:1 FC:2
capacitance FARAD ECU:3
touched ECU:3
bench stuck-low 12 | bench stuck-high 12
bench dead-driver 12 | bench short 12 13 | bench offset OHM
"""
"""Every fault that can be injected, one family a line."""

TOUCHED = "touched"
"""No fault of the loom: a probe at 0 V, through its resistor, held on a cavity."""

_MULTIPLES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}
_QUANTITY = re.compile(
    r"([0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE]([+-]?[0-9]+))?([pnuµmkMG]?)(?:ohm|Ω|V|F|Hz)?\Z"
)


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault. ``text`` is how it was written; ``name`` is the wire, part or connector that it is in."""

    text: str
    kind: str
    name: str = ""
    ends: tuple[End, ...] = ()
    value: float = 0.0
    other: str = ""
    volts: float = 0.0
    points: tuple[int, ...] = ()
    places_m: tuple[float, ...] = ()

    def touches(self, wanted: str, ends: tuple[End, ...]) -> bool:
        """Whether the fault is in this wire, part, connector or cavity, or is written so."""
        return (
            wanted == self.text
            or wanted in (self.name, self.other)
            or any(end in self.ends for end in ends)
            or wanted in {end.connector for end in self.ends}
        )


class _Reader:
    """Takes one fault's words apart; every complaint names the fault and what was expected."""

    def __init__(self, text: str, loom: Loom) -> None:
        self.text = text.strip()
        self.loom = loom
        try:
            self.words = list(ends_of(self.text))
        except ValueError as error:
            raise UsageError(f"fault {text!r}: {error}", cure=_CURE) from None

    def wrong(self, what: str, cure: str = "") -> UsageError:
        return UsageError(f"fault {self.text!r}: {what}", cure=cure or _CURE)

    def next(self, expected: str) -> End:
        if not self.words:
            raise self.wrong(f"it ends where {expected} is expected")
        return self.words.pop(0)

    def quantity(self, unit: str) -> float:
        word = self.next(f"a value in {unit}")
        try:
            return quantity(str(word))
        except ValueError:
            raise self.wrong(
                f"{str(word)!r} is no value in {unit}; one like 4.7 or 22k is expected"
            ) from None

    def wire(self) -> str:
        return self._known(self.next("a wire").connector, self.loom.wire_by_name, "wire")

    def part(self, *kinds: ComponentKind) -> str:
        name = self._known(self.next("a component").connector, self.loom.component_by_name, "component")
        kind = self.loom.component_by_name[name].kind
        if kinds and kind not in kinds:
            raise self.wrong(f"{name} is a {kind}; a {' or '.join(kinds)} is expected")
        return name

    def connector(self) -> str:
        name = self._known(self.next("a connector").connector, self.loom.by_name, "connector")
        if self.loom.by_name[name].kind is ConnectorKind.SPLICE:
            raise self.wrong(f"{name} is a splice; a connector is expected")
        return name

    def cavity(self) -> End:
        end = self.known_end(self.next("a cavity like ECU:7"))
        if self.loom.is_splice(end):
            raise self.wrong(f"{end} is a splice; a cavity like ECU:7 is expected")
        return end

    def end(self) -> End:
        return self.known_end(self.next("a cavity or splice"))

    def known_end(self, end: End) -> End:
        self._known(end.connector, self.loom.by_name, "connector")
        ends = self.loom.by_name[end.connector].ends
        if not end.cavity and len(ends) == 1:
            return ends[0]
        if end in ends:
            return end
        if not end.cavity:
            raise self.wrong(f"{end} has {len(ends)} cavities; say which, like {ends[0] if ends else end}")
        raise self.wrong(
            f"there is no cavity {end}", suggestion(str(end), map(str, ends)) or f"It has {_list(ends)}."
        )

    def points(self, count: int) -> tuple[int, ...]:
        found = []
        for _ in range(count):
            word = str(self.next("a point number"))
            if not word.isdecimal() or int(word) < 1:
                raise self.wrong(f"{word!r} is no point; a number from 1 is expected")
            found.append(int(word))
        return tuple(found)

    def word(self, expected: str) -> bool:
        """Take the word where it comes next."""
        if self.words and self.words[0] == End(expected):
            self.words.pop(0)
            return True
        return False

    def _known(self, name: str, known: Iterable[str], what: str) -> str:
        names = list(known)
        if name in names:
            return name
        near = near_miss(name, names)
        cure = f"There is {quoted(near)}." if near else f"There are {_list(map(quoted, names))}."
        if '"' in cure:
            cure += " A name that is more than one word stands in double quotes."
        raise self.wrong(f"there is no {what} {quoted(name)}", cure)


_CURE = "A fault is written like: " + "; ".join(
    ("open W12", "open W12 at ECU:7", "short ECU:3 ECU:4", "high 4.7 W12", "leak 22k ECU:3 ECU:4")
)


def quantity(text: str) -> float:
    """Read a positive quantity: ``4.7``, ``4,7``, ``22k``, ``1e-9``, ``100n``, ``0.5ohm``.

    Raises `ValueError`.
    """
    match = _QUANTITY.match(text.strip('"').replace(",", "."))
    if not match:
        raise ValueError(f"{text!r} is no quantity")
    return float(f"{match[1]}e{match[2] or 0}") * _MULTIPLES[match[3]]


def read_fault(text: str, loom: Loom) -> Fault:
    """Read one fault in this loom. Raises `UsageError` saying what is wrong, with a near miss."""
    reader = _Reader(text, loom)
    head = reader.next("a fault").connector
    if head not in _FAMILIES:
        raise reader.wrong("there is no such fault", suggestion(head, _FAMILIES) or _CURE)
    fault = _FAMILIES[head](reader)
    if reader.words:
        raise reader.wrong(f"it should end before {str(reader.words[0])!r}")
    return fault


def _conductor(reader: _Reader, kind: str, value: float = 0.0) -> Fault:
    """A wire, a wire at one of its ends, or the contact of a cavity."""
    first = reader.words[0] if reader.words else End("")
    is_wire = not first.cavity and first.connector in reader.loom.wire_by_name
    if first in reader.loom.splices and not is_wire and kind != "loose":
        # The joint itself: all its wires apart, or each pair of them through this many ohms.
        return Fault(reader.text, f"{kind} splice", ends=(reader.end(),), value=value)
    if first.cavity or (first.connector in reader.loom.by_name and not is_wire):
        return Fault(reader.text, kind, ends=(reader.cavity(),), value=value)
    name = reader.wire()
    if not reader.word("at"):
        return Fault(reader.text, kind, name=name, value=value)
    end = reader.end()
    ends = reader.loom.wire_by_name[name].ends
    if end not in ends:
        raise reader.wrong(f"{name} does not end at {end}", f"It runs from {ends[0]} to {ends[1]}.")
    return Fault(reader.text, kind, name=name, ends=(end,), value=value)


def _open(reader: _Reader) -> Fault:
    fault = _conductor(reader, "open")
    if not (reader.words and fault.name and fault.ends):
        return fault
    value = reader.quantity("metres from that end")
    reader.word("m")
    return Fault(reader.text, "open", fault.name, fault.ends, value)


def _high(reader: _Reader) -> Fault:
    value = reader.quantity("ohms")
    return _conductor(reader, "high", value)


def _loose(reader: _Reader) -> Fault:
    fault = _conductor(reader, "loose")
    value = reader.quantity("hertz")
    reader.word("Hz")
    if not 0.001 <= value <= 10_000:
        raise reader.wrong("0.001 to 10000 Hz is expected")
    return Fault(fault.text, "loose", fault.name, fault.ends, value)


def _pair(kind: str, unit: str = "") -> Callable[[_Reader], Fault]:
    def read(reader: _Reader) -> Fault:
        value = reader.quantity(unit) if unit else 0.0
        ends = (reader.end(), reader.end())
        if ends[0] == ends[1]:
            raise reader.wrong(f"both places are {ends[0]}; two different ones are expected")
        return Fault(reader.text, kind, ends=ends, value=value)

    return read


def _touching(kind: str, unit: str = "") -> Callable[[_Reader], Fault]:
    """Two places that touch: cavities or splices, or bare places along two wires."""

    def read(reader: _Reader) -> Fault:
        word = reader.words[1 if unit else 0] if len(reader.words) > 1 else End("")
        if word.cavity or word.connector not in reader.loom.wire_by_name or End("at") not in reader.words:
            return _pair(kind, unit)(reader)
        value = reader.quantity(unit) if unit else 0.0
        found = [_place(reader), _place(reader)]
        names, ends, places_m = zip(*found, strict=True)
        if names[0] == names[1]:
            raise reader.wrong(f"both places are on {names[0]}; two different wires are expected")
        return Fault(reader.text, "rub", names[0], ends, value, names[1], places_m=places_m)

    return read


def _place(reader: _Reader) -> tuple[str, End, float]:
    """A place along a wire: ``W12 at ECU:7 0.62 m``."""
    there = _conductor(reader, "rub")
    if not (there.name and there.ends):
        raise reader.wrong("a place along a wire is expected, like W12 at ECU:7 0.62 m")
    at_m = reader.quantity("metres from that end")
    reader.word("m")
    return there.name, there.ends[0], at_m


def _cavities(kind: str) -> Callable[[_Reader], Fault]:
    def read(reader: _Reader) -> Fault:
        ends = (reader.cavity(), reader.cavity())
        if ends[0] == ends[1]:
            raise reader.wrong(f"both cavities are {ends[0]}; two different ones are expected")
        return Fault(reader.text, kind, ends=ends)

    return read


def _exchange(reader: _Reader) -> Fault:
    one, two = reader.connector(), reader.connector()
    if one == two:
        raise reader.wrong(f"both connectors are {one}; two different ones are expected")
    if set(reader.loom.by_name[one].cavities) != set(reader.loom.by_name[two].cavities):
        raise reader.wrong(f"{one} and {two} have different cavities, so neither fits the other's place")
    return Fault(reader.text, "exchange", name=one, other=two)


def _whole(kind: str) -> Callable[[_Reader], Fault]:
    """A connector put on wrongly: left for right in every row, half a turn round, or one cavity on."""

    def read(reader: _Reader) -> Fault:
        name = reader.connector()
        connector = reader.loom.by_name[name]
        if len(connector.cavities) < 2:
            raise reader.wrong(f"{name} has one cavity; two or more are expected")
        if kind == "mirror" and len({len(row) for row in connector.rows}) > 1:
            raise reader.wrong(f"the rows of {name} are not equally long, so left does not fit right")
        return Fault(reader.text, kind, name=name)

    return read


def _part(reader: _Reader) -> Fault:
    for kind in ("diode", "led"):
        if reader.word(kind):
            return _pair(f"part {kind}")(reader)
    return _pair("part", "ohms")(reader)


def _voltage(reader: _Reader) -> Fault:
    value = reader.quantity("volts")
    ends = [reader.end()]
    if reader.words:
        ends.append(reader.end())
    return Fault(reader.text, "voltage", ends=tuple(ends), value=value)


def _charged(reader: _Reader) -> Fault:
    farad, volts = reader.quantity("farads"), reader.quantity("volts")
    ends = (reader.end(), reader.end())
    if ends[0] == ends[1]:
        raise reader.wrong(f"both places are {ends[0]}; two different ones are expected")
    return Fault(reader.text, "charged", ends=ends, value=farad, volts=volts)


def _capacitance(reader: _Reader) -> Fault:
    value = reader.quantity("farads")
    return Fault(reader.text, "capacitance", ends=(reader.end(),), value=value)


def _bench(reader: _Reader) -> Fault:
    kind = str(reader.next("a fault of the bench"))
    if kind in ("stuck-low", "stuck-high", "dead-driver"):
        return Fault(reader.text, f"bench {kind}", points=reader.points(1))
    if kind == "short":
        return Fault(reader.text, "bench short", points=reader.points(2))
    if kind == "offset":
        return Fault(reader.text, "bench offset", value=reader.quantity("ohms"))
    known = ("stuck-low", "stuck-high", "dead-driver", "short", "offset")
    raise reader.wrong(
        f"the bench has no fault {kind!r}", suggestion(kind, known) or f"It has {_list(known)}."
    )


def _component(kind: str, *kinds: ComponentKind) -> Callable[[_Reader], Fault]:
    return lambda reader: Fault(reader.text, kind, name=reader.part(*kinds))


def _value(reader: _Reader) -> Fault:
    value = reader.quantity("ohms")
    kinds = (ComponentKind.RESISTOR, ComponentKind.COIL, ComponentKind.RELAY, ComponentKind.FUSE)
    return Fault(reader.text, "value", name=reader.part(*kinds, ComponentKind.LINK), value=value)


_FAMILIES: dict[str, Callable[[_Reader], Fault]] = {
    "open": _open,
    "high": _high,
    "short": _touching("short"),
    "leak": _touching("leak", "ohms"),
    "breakdown": _pair("breakdown", "volts"),
    "swap": _cavities("swap"),
    "move": _cavities("move"),
    "exchange": _exchange,
    "mirror": _whole("mirror"),
    "rotate": _whole("rotate"),
    "shift": _whole("shift"),
    "reversed": _component("reversed", ComponentKind.DIODE),
    "missing": _component("missing"),
    "value": _value,
    "blown": _component("blown", ComponentKind.FUSE),
    "part": _part,
    "loose": _loose,
    "voltage": _voltage,
    "charged": _charged,
    TOUCHED: lambda reader: Fault(reader.text, TOUCHED, ends=(reader.cavity(),)),
    "capacitance": _capacitance,
    "bench": _bench,
}


def _list(names: Iterable[object]) -> str:
    known = [str(name) for name in names]
    return ", ".join(known[:8]) + (" …" if len(known) > 8 else "")
