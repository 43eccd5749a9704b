"""What the sheet says of an end: its job, where it goes, the meter check; and the standing cautions."""

from __future__ import annotations

from collections.abc import Collection

from loomproof.fitting.feeds import SIGNAL_A, when_live
from loomproof.loom.designations import is_earth
from loomproof.loom.model import ConnectorKind, End, Loom
from loomproof.results.fitting import Job, SheetEnd

LAMP_TERMINALS = frozenset({"49", "54", "55", "56", "57", "58", "L", "R", "C", "C2", "C3", "L54", "R54"})
"""Terminals of DIN 72552 behind which a lamp lies."""

EXPERIENCED = (
    "Airbag and belt-tensioner circuits: only people licensed for them.",
    "Fuel lines, pump and anything near fuel: someone experienced, with the line pressure released first.",
    "Changes to brake lamps, charging and the battery feed of a car for the road: local rules may ask for a "
    "licensed workshop or an inspection.",
)

CAUTIONS = (
    "Battery off and its clamps tied away until every row but the computer's is ticked and checked; then by "
    "the steps of the first power-up.",
    "Release the fuel line pressure before a line or the pump is opened; no sparks, no open flame.",
    "Leave airbag circuits alone; never measure on them.",
    "A fuse is sized for the wire that it protects, not for the load; never fit a larger one to stop it "
    "blowing.",
    "Wait until moving and hot parts are still and cold; take off rings and watches near battery posts.",
    "Local rules and the vehicle maker's instructions come first.",
)

NOT_CHECKED = (
    "The body's return path (body, engine block, straps) is not part of the loom and was not tested.",
    "What is plugged in (computer, sensors, motors) and the wiring of the car itself were not tested; "
    "currents through them were not traced.",
    "No ampacity table with a published source is built in: a continuous load is warned about or left open, "
    "never approved.",
)


def job_of(loom: Loom, end: End, facts: SheetEnd, computers: Collection[str]) -> Job:
    """Return the job of an end, by designation, connector, purpose and load."""
    said = f"{facts.circuit} {facts.purpose}".casefold()
    plain = facts.designation
    if end.connector in computers:
        return Job.COMPUTER
    when = when_live(plain)
    by_when = {"permanent": Job.PERMANENT, "ignition": Job.IGNITION, "start": Job.START}
    if when in by_when:
        return by_when[when]
    if is_earth(plain) or (loom.by_name[end.connector].kind is ConnectorKind.RING and not plain):
        return Job.EARTH
    if plain in ("1", "1a", "1b", "4", "4a", "4b", "15a") or "rev" in said.split() or "rev-counter" in said:
        return Job.COIL
    if "coil" in f"{end.connector} {loom.by_name[end.connector].description}".casefold():
        return Job.COIL
    if "pump" in said:
        return Job.PUMP
    if (plain.rstrip("abcdLRg") in LAMP_TERMINALS or "lamp" in said) and not plain.startswith("61"):
        return Job.LAMP
    if plain or (facts.load_a or 0.0) > SIGNAL_A:
        return Job.LOAD
    return Job.SENSOR


def goes_to(loom: Loom, end: End, facts: SheetEnd) -> str:
    """Return where an end goes: the thing that the connector belongs to, and where it sits."""
    connector = loom.by_name[end.connector]
    place = f" ({connector.location})" if connector.location else ""
    thing = connector.description or f"what {connector.name} belongs to"
    if connector.kind is ConnectorKind.SOCKET:
        return f"{thing}{place}, for {facts.purpose or facts.circuit or 'its wire'}"
    return f"{thing}{place}"
