"""Bench addresses: parsed once into frozen values, refused clearly where they cannot be meant.

    serial:/dev/ttyACM0?baud=115200&switch=921600    a scanner at a serial port
    tcp:127.0.0.1:7000                               a scanner behind a TCP socket
    visa:ASRL/dev/ttyACM0::INSTR                     a scanner behind a VISA resource
    visa:TCPIP::10.0.0.5::5025::SOCKET?profile=FILE  a switch matrix and meter, as the profile says
    hand:?beeps=30-60&clips=10                       a person with a meter
    sim:?fault=open%20W12&points=128&seed=1          the simulated scanner with a loom on it
    SCHEME:PLACE?KEY=VALUE                           what a driver of another package opens

Names and values are percent-coded as in RFC 3986; ``+`` is a plus sign, a space is ``%20``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import quote, unquote

from loomproof import installed
from loomproof.bench.usual_ports import usual_address
from loomproof.errors import Todo, UsageError, suggestion

DEFAULT_BAUD = 115_200
SCHEMES = ("serial", "tcp", "visa", "sim", "hand")

DRIVERS = "loomproof.benches"
"""The group of entry points that drivers of other packages stand in, by their schemes."""

SIM_VALUES = ("points", "acc", "seed", "adapter", "temperature", "insulation", "line", "driver", "pulls")
"""What a ``sim:`` address hands on to the simulator with a value."""

SIM_FLAGS = ("no-ohms", "no-diode", "no-volts", "no-watch", "paced")
"""What a ``sim:`` address hands on to the simulator without one."""

SIM_EITHER = ("four-wire", "cap")
"""What a ``sim:`` address hands on with or without a value."""

_USUAL = {"baud": DEFAULT_BAUD, "switch": 921_600, "points": 64, "clips": 10, "pulls": 8}
"""What is written behind the options that are whole numbers, for who wrote something else."""

_SAFE = "/:@[]+.,-_~!"


@dataclass(frozen=True, slots=True)
class SerialAddress:
    """A scanner at a serial port; ``switch`` is the rate to try once the link is open."""

    port: str
    baud: int = DEFAULT_BAUD
    switch: int | None = None

    def __str__(self) -> str:
        pairs = [] if self.baud == DEFAULT_BAUD else [("baud", str(self.baud))]
        if self.switch is not None:
            pairs.append(("switch", str(self.switch)))
        return f"serial:{quote(self.port, safe=_SAFE)}{_query(pairs)}"


@dataclass(frozen=True, slots=True)
class TcpAddress:
    """A scanner behind a TCP socket."""

    host: str
    port: int

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else quote(self.host, safe=_SAFE)
        return f"tcp:{host}:{self.port}"


@dataclass(frozen=True, slots=True)
class VisaAddress:
    """A VISA resource: a scanner, or with a ``profile`` a switch matrix.

    ``meter`` is its meter's resource, ``lcr`` that of the instrument that reads capacitance, where they are
    others; ``backend`` is what pyvisa calls the library, ``@py`` unless given.
    """

    resource: str
    profile: str = ""
    meter: str = ""
    backend: str = "@py"
    lcr: str = ""

    def __str__(self) -> str:
        pairs = [("profile", self.profile), ("meter", self.meter), ("lcr", self.lcr)]
        if self.backend != "@py":
            pairs.append(("backend", self.backend))
        return f"visa:{quote(self.resource, safe=_SAFE)}{_query([p for p in pairs if p[1]])}"


@dataclass(frozen=True, slots=True)
class SimAddress:
    """The simulated scanner; ``faults`` and ``options`` are handed on to it."""

    faults: tuple[str, ...] = ()
    options: tuple[tuple[str, str], ...] = ()

    def __str__(self) -> str:
        return f"sim:{_query([('fault', fault) for fault in self.faults] + list(self.options))}"

    @property
    def arguments(self) -> tuple[str, ...]:
        """What the simulator's process is told (`loomproof.virtual.__main__`)."""
        given: list[str] = []
        for fault in self.faults:
            given.append(f"--fault={fault}")
        for key, value in self.options:
            given.append(f"--{key}={value}" if value else f"--{key}")
        return tuple(given)


@dataclass(frozen=True, slots=True)
class HandAddress:
    """A person with a meter. ``beeps``: it surely beeps under the first, Ω, and surely not over the second.

    ``beeps`` is ``None`` where that was not said. ``clips``: how many nets can be joined under one lead.
    ``ohms``: the resistance of every wire is read as well, not of parts alone; ``accuracy`` is the meter's, Ω
    and ratio; ``meter`` is what it is called; ``anew`` throws away what was begun before.
    """

    beeps: tuple[float, float] | None = None
    clips: int = 0
    ohms: bool = False
    accuracy: tuple[float, float] | None = None
    meter: str = ""
    anew: bool = False

    def __str__(self) -> str:
        pairs = [] if self.beeps is None else [("beeps", f"{self.beeps[0]:g}-{self.beeps[1]:g}")]
        pairs += [("clips", str(self.clips))] if self.clips else []
        pairs += [("ohms", "")] if self.ohms else []
        pairs += [("acc", f"{self.accuracy[0]:g}:{self.accuracy[1]:g}")] if self.accuracy else []
        pairs += [("meter", self.meter)] if self.meter else []
        return f"hand:{_query(pairs)}"


@dataclass(frozen=True, slots=True)
class OtherAddress:
    """What a driver of another package opens: ``place`` and ``options`` are its own to read, decoded."""

    scheme: str
    place: str
    options: tuple[tuple[str, str], ...] = ()

    def __str__(self) -> str:
        return f"{self.scheme}:{quote(self.place, safe=_SAFE)}{_query(self.options)}"


Address = SerialAddress | TcpAddress | VisaAddress | SimAddress | HandAddress | OtherAddress


def starts_simulator(address: str | Address) -> bool:
    """Whether opening this address starts a simulator of its own, on which a person can plug nothing.

    Whether an opened bench is simulated, the bench says (`Bench.opening`): it may be one started before.
    """
    where = parse_address(address) if isinstance(address, str) else address
    return isinstance(where, SimAddress)


def is_by_hand(address: str | Address) -> bool:
    """Whether a person with a meter is the bench."""
    where = parse_address(address) if isinstance(address, str) else address
    return isinstance(where, HandAddress)


def parse_address(text: str) -> Address:
    """Read a bench address. Raises `UsageError` with what is wrong and what would be right."""
    scheme, colon, rest = text.strip().partition(":")
    scheme = scheme.casefold()
    others = () if colon and scheme in SCHEMES else _other_schemes()
    if not colon or scheme not in (*SCHEMES, *others):
        raise UsageError(
            f"bench address {text!r} does not begin with {_either((*SCHEMES, *others))}",
            cure=suggestion(f"{scheme}:", [f"{known}:" for known in (*SCHEMES, *others)])
            or f"A serial port is written {usual_address()}.",
        )
    place, _, query = rest.partition("?")
    place = _decoded(place, text)
    pairs = _pairs(query, text)
    if scheme == "serial":
        return _serial(place, pairs, text)
    if scheme == "tcp":
        return _tcp(place, pairs, text)
    if scheme == "visa":
        return _visa(place, pairs, text)
    if scheme == "sim":
        return _sim(place, pairs, text)
    if scheme == "hand":
        return _hand(place, pairs, text)
    return OtherAddress(scheme, place, tuple(pairs))


def _other_schemes() -> tuple[str, ...]:
    return installed.names(DRIVERS)


def _either(schemes: Sequence[str]) -> str:
    *first, last = (f"{scheme}:" for scheme in schemes)
    return f"{', '.join(first)} or {last}"


def _serial(place: str, pairs: Sequence[tuple[str, str]], text: str) -> SerialAddress:
    given = _once(pairs, ("baud", "switch"), text)
    if not place:
        raise UsageError(
            f"bench address {text!r} names no port", cure=f"Write {usual_address()}, or another port."
        )
    return SerialAddress(
        place,
        baud=_whole(given.get("baud", str(DEFAULT_BAUD)), "baud", text),
        switch=_whole(given["switch"], "switch", text) if "switch" in given else None,
    )


def _tcp(place: str, pairs: Sequence[tuple[str, str]], text: str) -> TcpAddress:
    _once(pairs, (), text)
    host, colon, port = place.rpartition(":")
    if host.startswith("[") and host.endswith("]"):
        host = host[1:-1]
    elif ":" in host:
        raise UsageError(
            f"bench address {text!r} has too many colons",
            cure="An IPv6 host stands in brackets: tcp:[::1]:7000.",
        )
    if not colon or not host:
        raise UsageError(f"bench address {text!r} needs a host and a port", cure="Write tcp:127.0.0.1:7000.")
    number = _whole(port, "port", text)
    if number > 65_535:
        raise UsageError(
            f"bench address {text!r}: port {number} is over 65535", cure="Write tcp:127.0.0.1:7000."
        )
    return TcpAddress(host, number)


def _visa(place: str, pairs: Sequence[tuple[str, str]], text: str) -> VisaAddress:
    given = _once(pairs, ("profile", "meter", "lcr", "backend"), text)
    if not place:
        raise UsageError(
            f"bench address {text!r} names no VISA resource", cure="Write visa:TCPIP::10.0.0.5::5025::SOCKET."
        )
    named = "a meter" if "meter" in given else "an LCR meter" if "lcr" in given else ""
    if named and "profile" not in given:
        raise UsageError(
            f"bench address {text!r} names {named} and no profile",
            cure="Add &profile=FILE, or the name of one that comes with the program.",
            do=Todo.PROFILES,
        )
    profile, meter, lcr = (given.get(key, "") for key in ("profile", "meter", "lcr"))
    return VisaAddress(place, profile, meter, given.get("backend", "@py"), lcr)


def _sim(place: str, pairs: Sequence[tuple[str, str]], text: str) -> SimAddress:
    if place:
        raise UsageError(
            f"bench address {text!r}: {place!r} stands before the question mark",
            cure="Faults are written sim:?fault=open%20W12.",
        )
    _once(
        [pair for pair in pairs if pair[0] != "fault"],
        (*SIM_VALUES, *SIM_FLAGS, *SIM_EITHER),
        text,
        also=("fault",),
    )
    options = []
    for key, value in pairs:
        if key in SIM_VALUES and not value:
            raise UsageError(f"bench address {text!r}: {key} has no value")
        if key in ("points", "pulls"):
            _whole(value, key, text)
        if key in SIM_FLAGS and value not in ("", "yes"):
            raise UsageError(f"bench address {text!r}: {key} takes no value", cure=f"Write {key} alone.")
        if key != "fault":
            options.append((key, "" if key in SIM_FLAGS else value))
    return SimAddress(tuple(value for key, value in pairs if key == "fault"), tuple(options))


def _hand(place: str, pairs: Sequence[tuple[str, str]], text: str) -> HandAddress:
    if place:
        raise UsageError(
            f"bench address {text!r}: {place!r} stands before the question mark",
            cure="What the meter does is written hand:?beeps=30-60.",
        )
    given = _once(pairs, ("beeps", "clips", "ohms", "acc", "meter", "anew"), text)
    for flag in ("ohms", "anew"):
        if given.get(flag, "") not in ("", "yes"):
            raise UsageError(f"bench address {text!r}: {flag} takes no value", cure=f"Write {flag} alone.")
    accuracy = None
    if "acc" in given:
        try:
            ohm, ratio = (float(word) for word in given["acc"].split(":"))
            if not (0.0 <= ohm < 1e3 and 0.0 <= ratio < 1.0):
                raise ValueError
            accuracy = (ohm, ratio)
        except ValueError:
            raise UsageError(
                f"bench address {text!r}: acc {given['acc']!r} is no ohms and ratio",
                cure="Write acc=0.3:0.01.",
            ) from None
    beeps = read_beeps(given["beeps"]) if "beeps" in given else None
    clips = _whole(given["clips"], "clips", text) if "clips" in given else 0
    return HandAddress(beeps, clips, "ohms" in given, accuracy, given.get("meter", ""), "anew" in given)


BEEP_SPREAD = 2.0
"""Of a meter that is said to beep up to so many ohms, that figure may be off by this factor either way:
manuals state it loosely (common practice)."""


def read_beeps(said: str) -> tuple[float, float]:
    """Read under how many ohms a meter surely beeps, and over how many surely not: ``30-60``, or ``50``.

    One figure stands for half and twice itself. Raises `UsageError`.
    """
    try:
        words = [float(word) for word in said.replace(",", ".").split("-")]
        low, high = words if len(words) > 1 else (words[0] / BEEP_SPREAD, words[0] * BEEP_SPREAD)
        if not 0.0 < low <= high <= 10_000.0:
            raise ValueError
    except ValueError:
        raise UsageError(
            f"{said!r} does not say up to how many ohms the meter beeps",
            cure="Write one figure as the manual has it, 50, or two: 30-60, beeps surely under the first and "
            "surely not over the second.",
        ) from None
    return low, high


def _decoded(part: str, text: str) -> str:
    if re.search(r"%(?![0-9A-Fa-f]{2})", part):
        raise UsageError(
            f"bench address {text!r}: a per cent sign is not followed by two hex digits",
            cure="A per cent sign itself is written %25.",
        )
    try:
        return unquote(part, errors="strict")
    except UnicodeDecodeError:
        raise UsageError(f"bench address {text!r}: the percent coding is not UTF-8") from None


def _pairs(query: str, text: str) -> list[tuple[str, str]]:
    found = []
    for piece in query.split("&") if query else []:
        key, _, value = piece.partition("=")
        if not key:
            raise UsageError(f"bench address {text!r}: {piece!r} names no option")
        found.append((_decoded(key, text), _decoded(value, text)))
    return found


def _once(
    pairs: Sequence[tuple[str, str]], known: Sequence[str], text: str, also: Sequence[str] = ()
) -> Mapping[str, str]:
    given: dict[str, str] = {}
    for key, value in pairs:
        if key not in known:
            names = ", ".join((*also, *known)) or "none"
            raise UsageError(
                f"bench address {text!r}: there is no option {key!r}",
                cure=suggestion(key, (*also, *known)) or f"Options here: {names}.",
            )
        if key in given:
            raise UsageError(f"bench address {text!r}: {key} is given twice", cure=f"Leave one {key} out.")
        given[key] = value
    return given


def _whole(value: str, what: str, text: str) -> int:
    if not re.fullmatch(r"[0-9]+", value) or int(value) == 0:
        raise UsageError(
            f"bench address {text!r}: {what} {value!r} is not a whole number above 0",
            cure="Write it in digits, like 7000." if what == "port" else f"Like {what}={_USUAL[what]}.",
        )
    return int(value)


def _query(pairs: Sequence[tuple[str, str]]) -> str:
    if not pairs:
        return ""
    return "?" + "&".join(
        quote(key, safe=_SAFE) + (f"={quote(value, safe=_SAFE)}" if value else "") for key, value in pairs
    )
