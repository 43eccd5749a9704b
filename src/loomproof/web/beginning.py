"""A job as a form asks for it: loom, bench, adapter, what is at connectors, who proves."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from loomproof.errors import UsageError
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Keeping, Orders
from loomproof.judgement.inspection import ANSWERED
from loomproof.loom.model import ConnectorKind, Hazard, Loom
from loomproof.web.answers import Asked, House
from loomproof.web.asking import PageOperator
from loomproof.web.wanted import assured_of, plugging, stated_of, text_of

HAZARD = "hazard "
"""How a form calls the field of a connector's hazard, before the connector's name."""


def job_of(
    house: House,
    asked: Asked,
    path: Path,
    loom: Loom,
    operator: PageOperator,
    hold: Callable[[], Orders],
    **more: Any,
) -> Job:
    """Return the job that a form asks for, on the bench and adapter that it picked. Raises `UsageError`.

    ``more`` is what `loomproof.web.wanted.more_of` read of it.
    """
    hazards = hazards_of(asked, loom)
    said = tuple(f"{ANSWERED}{connector}={hazard}" for connector, hazard in hazards.items())
    leads = "in-order" if plugging(asked) else house.workplace.adapter(asked.field("adapter"))
    return Job.in_workshop(
        loom,
        house.workplace.bench(asked.field("bench"), path),
        operator,
        loom_path=path,
        adapter=leads,
        assured=assured_of(asked, hazards),
        person=text_of(asked, "person"),
        place=text_of(asked, "place"),
        stated=stated_of(asked),
        where=Keeping(house.workplace.out, house.workplace.store, hold),
        inspection=(*more.pop("inspection", ()), *said),
        **more,
    )


def hazards_asked(loom: Loom) -> dict[str, Any]:
    """Return what a form needs to ask what is at connectors: those that nobody described, and the answers."""
    return {
        "unknown": [
            each
            for each in loom.connectors
            if each.hazard is Hazard.UNKNOWN and each.ends and each.kind is not ConnectorKind.SPLICE
        ],
        "hazards": [each.value for each in Hazard if each is not Hazard.UNKNOWN],
    }


def hazards_of(asked: Asked, loom: Loom) -> dict[str, Hazard]:
    """Return what a form says of connectors' hazards. Raises `UsageError` for what is no hazard."""
    found: dict[str, Hazard] = {}
    for connector in loom.connectors:
        said = asked.field(HAZARD + connector.name)
        if said and said not in list(Hazard):
            raise UsageError(f"{connector.name}: {said[:40]!r} is no hazard", cure="Load the page again.")
        if said and Hazard(said) is not Hazard.UNKNOWN:
            found[connector.name] = Hazard(said)
    return found
