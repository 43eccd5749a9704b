"""Terminal designations of DIN 72552 and what they mean.

Source: DIN 72552 as quoted in encyclopaedia tables and workshop references; those marked (memory) in the
project's reference table are included, for a designation is only ever asked about, never judged by.
"""

from __future__ import annotations

DESIGNATIONS: dict[str, str] = {
    "1": "ignition coil, switched negative",
    "1a": "first contact-breaker circuit",
    "1b": "second contact-breaker circuit",
    "2": "short-circuit terminal of a magneto",
    "4": "ignition coil, high voltage",
    "4a": "high voltage of coil 1",
    "4b": "high voltage of coil 2",
    "7": "ballast resistor, to or from the distributor",
    "15": "ignition-switched feed",
    "15a": "from the ballast resistor to coil and starter",
    "17": "glow plugs, start",
    "19": "glow plugs, preheat",
    "30": "permanent feed",
    "30a": "permanent feed from the second battery",
    "31": "earth",
    "31a": "earth of the second battery through the switch-over relay",
    "31b": "earth through a switch or relay",
    "31c": "earth of the first battery through the switch-over relay",
    "32": "motor, return",
    "33": "motor, main connection",
    "33a": "motor, self-park",
    "33b": "motor, shunt field",
    "33f": "motor, second lower speed",
    "33g": "motor, third lower speed",
    "33h": "motor, fourth lower speed",
    "33L": "motor, turning left",
    "33R": "motor, turning right",
    "45": "starter relay output",
    "45a": "output of the first starter relay",
    "45b": "output of the second starter relay",
    "49": "flasher unit, in",
    "49a": "flasher unit, out",
    "49b": "flasher unit, second circuit",
    "50": "starter control",
    "51": "alternator, d.c. of the rectifier",
    "53": "wiper motor, feed",
    "53a": "wiper motor, self-park",
    "53b": "wiper motor, second speed",
    "54": "brake lamps",
    "55": "fog lamps",
    "56": "headlamps",
    "56a": "main beam and its tell-tale",
    "56b": "dipped beam",
    "56d": "headlamp flash",
    "57": "parking lamp",
    "58": "side, tail, number-plate and instrument lamps",
    "58L": "side and tail lamps, left",
    "58R": "side and tail lamps, right",
    "59": "alternator, a.c. out",
    "61": "charge warning lamp",
    "64": "generator control lamp",
    "71": "horn",
    "75": "radio and lighter",
    "85": "relay coil, negative end",
    "86": "relay coil, positive end",
    "87": "relay contact, make",
    "87a": "relay contact, break",
    "87b": "relay contact, second output",
    "88": "relay contact, input",
    "88a": "relay contact, first output",
    "88b": "relay contact, second output",
    "B+": "battery positive",
    "B-": "battery negative",
    "D+": "dynamo or alternator positive, warning lamp",
    "D-": "dynamo negative",
    "DF": "dynamo or alternator field",
}
"""Designation to meaning."""


def is_known(designation: str) -> bool:
    """Whether the designation is in the table; variants of 50 run from 50a to 50h, and − is read as -."""
    plain = designation.replace("−", "-")
    return plain in DESIGNATIONS or (len(plain) == 3 and plain[:2] == "50" and plain[2] in "abcdefgh")
