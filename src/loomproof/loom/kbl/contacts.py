"""Contacts with several conductors: coaxial ones, which keep them apart, and all others, which join them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from loomproof.loom.kbl.document import Document
from loomproof.loom.model import Connector, ConnectorKind, End

SCREENS = ("schirm", "screen", "shield", "drain", "beidraht")
"""Words in a core's name or type that make it the screen of its cable."""

SHARED = "cavities with several contact points, which are taken to touch there"
SHARED_CURE = "Where the contact keeps them apart, give one of them a cavity of its own in the tables."

USAGE = {
    "splice": ConnectorKind.SPLICE,
    "ring terminal": ConnectorKind.RING,
    "no end": ConnectorKind.TAIL,
    "dangler": ConnectorKind.TAIL,
}
"""Usages of connectors that say what kind of end it is."""


def beside(connector: Connector, cavity: str, what: str) -> tuple[Connector, End]:
    """Return the connector with a cavity beside this one for another conductor of its coaxial contact, and
    that cavity's end: ``1 screen`` beside ``1``. A connector that has it already stays as it is."""
    outer = End(connector.name, f"{cavity} {what}")
    if outer.cavity in connector.cavities:
        return connector, outer
    rows = tuple(
        tuple(name for held in row for name in ((held, outer.cavity) if held == cavity else (held,)))
        for row in connector.rows
    )
    return replace(connector, rows=rows), outer


def coaxial_contacts(document: Document) -> dict[str, str]:
    """Return what is held by the contact points of coaxial contacts that hold no inner conductor: ``screen``.

    A coaxial contact has two contact points in one cavity, with two cores of one cable on them: two
    potentials, where all else that meets in one cavity is one. With more cores of the cable it has more:
    ``core 2``, ``screen 2``.
    """
    cores_on: dict[str, dict[str, set[str]]] = {}
    for connection in document.harness.iterfind("Connection"):
        core = document.by_id.get((connection.findtext("Wire") or "").strip())
        cable = core.getparent() if core is not None and core.tag == "Core_occurrence" else None
        if core is not None and cable is not None:
            for extremity in connection.iterfind("Extremities"):
                point = (extremity.findtext("Contact_point") or "").strip()
                on_it = cores_on.setdefault(point, {})
                on_it.setdefault(cable.get("id", ""), set()).add(core.get("id", ""))
    held: dict[str, str] = {}
    for occurrence in document.harness.iterfind("Connector_occurrence"):
        if document.text(occurrence, "Usage") in USAGE:
            continue
        meeting: dict[tuple[str, str], list[_Potential]] = {}
        for contact in occurrence.iterfind("Contact_points"):
            key = contact.get("id", "")
            cavities = (contact.findtext("Contacted_cavity") or "").split()
            for cable_key, cores in cores_on.get(key, {}).items() if len(cavities) == 1 else ():
                known = meeting.setdefault((cavities[0], cable_key), [])
                same = next((one for one in known if one.cores & cores), None)
                if same is None:
                    known.append(_Potential([key], set(cores)))
                else:
                    same.points.append(key)
                    same.cores.update(cores)
        for known in meeting.values():
            names = potentials([all(says_screen(document, core) for core in one.cores) for one in known])
            for one, name in zip(known, names, strict=True):
                for point in one.points if name else ():
                    held.setdefault(point, name)
    return held


@dataclass
class _Potential:
    """Contact points in one cavity that the same cores of a cable are on."""

    points: list[str]
    cores: set[str]


def potentials(screens: Sequence[bool]) -> list[str]:
    """Return what to call each conductor of a coaxial contact, of which it is told which are screens.

    The first that is none (or where all are, the first) is the contact's own and has no name.
    """
    inner = screens.index(False) if False in screens else 0
    names: list[str] = []
    taken = {"core": 1, "screen": 0}
    for number, screen in enumerate(screens):
        if number == inner:
            names.append("")
            continue
        word = "screen" if screen or len(screens) == 2 else "core"
        taken[word] += 1
        names.append(word if taken[word] == 1 else f"{word} {taken[word]}")
    return names


def says_screen(document: Document, core: str) -> bool:
    """Whether the name or type of a core (by its id) says that it is a screen."""
    part = document.part(document.by_id[core])
    said = " ".join(document.text(part, tag) for tag in ("Id", "Wire_type")).casefold()
    return any(word in said for word in SCREENS)
