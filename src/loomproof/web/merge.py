"""A description that turns up is laid over a loom that was traced."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from loomproof.errors import LoomproofError, UsageError
from loomproof.jobs.bringing import place_for
from loomproof.jobs.merging import Laid, merged
from loomproof.web.answers import Answer, Asked, House, Page
from loomproof.web.session import told
from loomproof.web.wanted import text_of


def prepare(house: House, asked: Asked) -> Answer:
    """Ask which description is to be laid over which loom."""
    return _shown(house, replace(asked, form=asked.query))


def merge(house: House, asked: Asked) -> Answer:
    """Lay the one over the other, as a loom of its own, and tell where they differ."""
    place = house.workplace
    try:
        traced, known = asked.field("traced"), asked.field("known")
        if not traced or not known or traced == known:
            raise UsageError("two looms are wanted", cure="Pick the traced one, and what describes it.")
        target = place_for(text_of(asked, "called"), place.folder)
        if target.exists():
            raise UsageError(f"there is a loom called {target.name} already", cure="Give another name.")
        laid = merged(place.loom(traced), place.loom(known), target)
    except LoomproofError as error:
        return _shown(house, asked, error=error)
    return _shown(house, asked, laid=laid, name=target.name)


def _shown(
    house: House,
    asked: Asked,
    *,
    error: LoomproofError | None = None,
    laid: Laid | None = None,
    name: str = "",
) -> Answer:
    values: dict[str, Any] = {
        "given": asked.form,
        "error": None if error is None else told(error, house.how),
        "looms": list(house.workplace.found()),
        "laid": laid,
        "name": name,
    }
    return Page("merge.html", values, 200 if error is None else 409)
