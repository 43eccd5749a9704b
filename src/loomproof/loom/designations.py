"""Terminal designations of DIN 72552: what they mean, and what a circuit of that name can carry.

Source: DIN 72552 as quoted in encyclopaedia tables, makers' tables and workshop references; ``memory`` marks
those seen in none of them. Nothing is proved by a designation: it says which ends are to be treated as live.
"""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple


class Supply(StrEnum):
    """When a terminal is fed. ``OUTPUT`` is that of a relay or switch, in this loom or in the car;
    ``THROUGH``: live through whatever lies between it and a feed, until something earths it."""

    PERMANENT = "permanent"
    IGNITION = "ignition"
    START = "start"
    SWITCHED = "switched"
    OUTPUT = "output"
    THROUGH = "through"
    EARTH = "earth"


class Terminal(NamedTuple):
    """One designation: what it means, when it is fed, and whether the row is from memory."""

    meaning: str
    supply: Supply
    memory: bool = False


_P, _I, _S = Supply.PERMANENT, Supply.IGNITION, Supply.START
_W, _O, _T, _E = Supply.SWITCHED, Supply.OUTPUT, Supply.THROUGH, Supply.EARTH

TERMINALS: dict[str, Terminal] = {
    "1": Terminal("ignition coil, switched negative", _T),
    "1a": Terminal("first contact-breaker circuit", _T),
    "1b": Terminal("second contact-breaker circuit", _T),
    "2": Terminal("short-circuit terminal of a magneto", _T),
    "4": Terminal("ignition coil, high voltage", _T),
    "4a": Terminal("high voltage of coil 1", _T),
    "4b": Terminal("high voltage of coil 2", _T),
    "7": Terminal("ballast resistor, to or from the distributor", _T),
    "15": Terminal("ignition-switched feed", _I),
    "15a": Terminal("from the ballast resistor to coil and starter", _I),
    "15e": Terminal("ignition-switched feed behind a fuse or relay", _I, memory=True),
    "17": Terminal("glow plugs, start", _I),
    "19": Terminal("glow plugs, preheat", _I),
    "29": Terminal("battery positive at the rear, cut off in a crash", _P),
    "29a": Terminal("battery positive at the rear, fused", _P),
    "30": Terminal("permanent feed", _P),
    "30a": Terminal("permanent feed from the second battery", _P),
    "30b": Terminal("permanent feed by way of the hazard-light switch", _P),
    "30g": Terminal("battery feed that a control unit switches", _P),
    "31": Terminal("earth", _E),
    "31a": Terminal("earth of the second battery through the switch-over relay", _E),
    "31b": Terminal("earth through a switch or relay", _T),
    "31c": Terminal("earth of the first battery through the switch-over relay", _E),
    "32": Terminal("motor, return", _T),
    "33": Terminal("motor, main connection", _W),
    "33a": Terminal("motor, self-park", _W),
    "33b": Terminal("motor, shunt field", _W),
    "33f": Terminal("motor, second lower speed", _W),
    "33g": Terminal("motor, third lower speed", _W),
    "33h": Terminal("motor, fourth lower speed", _W),
    "33L": Terminal("motor, turning left", _W),
    "33R": Terminal("motor, turning right", _W),
    "44": Terminal("voltage compensation between regulators", _W),
    "45": Terminal("starter relay output", _S),
    "45a": Terminal("output of the first starter relay", _S),
    "45b": Terminal("output of the second starter relay", _S),
    "48": Terminal("watches the start, at starter and start-repeating relay", _S, memory=True),
    "49": Terminal("flasher unit, in", _W),
    "49a": Terminal("flasher unit, out", _W),
    "49b": Terminal("flasher unit, second circuit", _W),
    "49c": Terminal("flasher unit, third circuit", _W),
    "50": Terminal("starter control", _S),
    "51": Terminal("alternator, d.c. of the rectifier", _P),
    "51e": Terminal("alternator, d.c. of the rectifier, with choke", _P),
    "52": Terminal("signals from a trailer", _W, memory=True),
    "53": Terminal("wiper motor, feed", _W),
    "53a": Terminal("wiper motor, self-park", _W),
    "53b": Terminal("wiper motor, second speed", _W),
    "53c": Terminal("washer pump", _W),
    "53e": Terminal("wiper motor, braking winding", _W),
    "53i": Terminal("wiper motor, third brush for high speed", _W),
    "54": Terminal("brake lamps", _W),
    "54g": Terminal("trailer, switched feed; rear fog lamp", _W),
    "55": Terminal("fog lamps", _W),
    "56": Terminal("headlamps", _W),
    "56a": Terminal("main beam and its tell-tale", _W),
    "56b": Terminal("dipped beam", _W),
    "56c": Terminal("headlamp flash", _W),
    "56d": Terminal("headlamp flash", _W),
    "57": Terminal("parking lamp", _W),
    "57a": Terminal("parking lamps", _W),
    "57L": Terminal("parking lamp, left", _W),
    "57R": Terminal("parking lamp, right", _W),
    "58": Terminal("side, tail, number-plate and instrument lamps", _W),
    "58b": Terminal("tail lamps of a tractor, or their switch-over", _W),
    "58c": Terminal("trailer tail lamp with its own fuse", _W, memory=True),
    "58d": Terminal("instrument lamps by way of a dimmer", _W),
    "58L": Terminal("side and tail lamps, left", _W),
    "58R": Terminal("side and tail lamps, right", _W),
    "59": Terminal("alternator, a.c. out", _W),
    "59a": Terminal("alternator, charging armature out", _W),
    "61": Terminal("charge warning lamp", _W),
    "63": Terminal("regulator, changes the voltage", _W, memory=True),
    "64": Terminal("generator control lamp", _W),
    "71": Terminal("horn", _W),
    "72": Terminal("alarm or beacon", _W, memory=True),
    "75": Terminal("radio and lighter", _W),
    "76": Terminal("loudspeaker", _W),
    "77": Terminal("door valves", _W),
    "81": Terminal("break switch, in", _O),
    "81a": Terminal("break switch, first out", _O),
    "81b": Terminal("break switch, second out", _O),
    "82": Terminal("make switch, in", _O),
    "82a": Terminal("make switch, first out", _O),
    "82b": Terminal("make switch, second out", _O),
    "83": Terminal("multi-position switch, in", _O),
    "83a": Terminal("multi-position switch, first out", _O),
    "83b": Terminal("multi-position switch, second out", _O),
    "84": Terminal("current relay, in", _O),
    "84a": Terminal("current relay, coil out", _O),
    "84b": Terminal("current relay, contact out", _O),
    "85": Terminal("relay coil, negative end", _T),
    "86": Terminal("relay coil, positive end", _O),
    "86a": Terminal("relay coil, start of the first winding", _O),
    "86b": Terminal("relay coil, tap or start of the second winding", _O),
    "87": Terminal("relay contact, make", _O),
    "87a": Terminal("relay contact, break", _O),
    "87b": Terminal("relay contact, second output", _O),
    "87c": Terminal("relay contact, third output", _O),
    "88": Terminal("relay contact, input", _O),
    "88a": Terminal("relay contact, first output", _O),
    "88b": Terminal("relay contact, second output", _O),
    "B+": Terminal("battery positive", _P),
    "B-": Terminal("battery negative", _E),
    "C": Terminal("first flasher tell-tale", _W),
    "C2": Terminal("second flasher tell-tale", _W),
    "C3": Terminal("third flasher tell-tale", _W),
    "D+": Terminal("dynamo or alternator positive, warning lamp", _W),
    "D-": Terminal("dynamo negative", _E),
    "DF": Terminal("dynamo or alternator field", _W),
    "L": Terminal("flashing lamps, left", _W),
    "R": Terminal("flashing lamps, right", _W),
    "L54": Terminal("flashing and brake lamp in one, left", _W),
    "R54": Terminal("flashing and brake lamp in one, right", _W),
    "W": Terminal("alternator, one phase, for a rev counter", _W),
}
"""Designation to meaning and supply."""

DESIGNATIONS: dict[str, str] = {name: terminal.meaning for name, terminal in TERMINALS.items()}
"""Designation to meaning."""


def is_known(designation: str) -> bool:
    """Whether the designation is in the table; variants of 50 run from 50a to 50h, and − is read as -."""
    plain = designation.replace("−", "-")
    return plain in TERMINALS or (len(plain) == 3 and plain[:2] == "50" and plain[2] in "abcdefgh")


def supply_of(designation: str) -> Supply | None:
    """Return when a terminal of this designation is fed; ``None`` where the table does not say.

    A variant that the table lacks is taken for what its number is (``15x`` as 15), so that it is never
    called dead; of earth only the variants in the table are earth.
    """
    plain = designation.replace("−", "-")
    if plain in TERMINALS:
        return TERMINALS[plain].supply
    number = plain[:2]
    if number.isdigit() and not plain[2:3].isdigit() and number in TERMINALS:
        supply = TERMINALS[number].supply
        return Supply.THROUGH if supply is Supply.EARTH else supply
    return None


def is_earth(designation: str) -> bool:
    """Whether a terminal of this designation is earth for good: 31, 31a, 31c, B-, D-, and not 31b."""
    return supply_of(designation) is Supply.EARTH
