"""The job that runs, live: its page, the answers to what it asks, the order to stop, who may watch."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.errors import UsageError
from loomproof.loom.model import ConnectorKind, End, Loom
from loomproof.loom.reading import load
from loomproof.web.answers import Answer, Asked, Data, Go, House, Page


def proving(house: House, _: Asked) -> Answer:
    """Show the job that runs, or ran last, with the faces of its loom's connectors."""
    name = house.session.loom
    faces = faces_of(load(house.workplace.loom(name)).loom) if name else ()
    return Page("prove.html", {"faces": faces})


@dataclass(frozen=True)
class Face:
    """A connector seen from its mating side: rows of cavities, ``None`` for a gap."""

    name: str
    kind: str
    text: str
    rows: tuple[tuple[End | None, ...], ...]


def faces_of(loom: Loom) -> tuple[Face, ...]:
    """Return what has a face: every connector but splices."""
    return tuple(
        Face(
            each.name,
            each.kind.value,
            each.description or each.kind.value,
            tuple(tuple(End(each.name, name) if name else None for name in row) for row in each.rows),
        )
        for each in loom.connectors
        if each.kind is not ConnectorKind.SPLICE
    )


def stop(house: House, asked: Asked) -> Answer:
    """Order the job to stop."""
    house.session.stop()
    return Data({}) if asked.json is not None else Go("/prove")


def answer(house: House, asked: Asked) -> Answer:
    """Take the answer to the question that stands. Raises `UsageError` for another one."""
    said = asked.json if isinstance(asked.json, dict) else {}
    number = said.get("number")
    if not isinstance(number, int):
        raise UsageError("an answer names its question", cure="Load the page again.")
    house.session.answer(number, said.get("said"))
    return Data({})


def life(house: House, _: Asked) -> Answer:
    """Take a sign of life of the page that drives."""
    house.session.alive()
    return Data({})
