"""A loom that is watched while a person moves it: begun, looked at, and what is kept of it in figures."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

from loomproof.errors import DescriptionError, LoomproofError, UsageError
from loomproof.jobs.keep import Orders
from loomproof.jobs.wiggle import MOST_PLACES, Hands, Wiggle, places_of
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.web import look
from loomproof.web.answers import Answer, Asked, File, Go, House, Page
from loomproof.web.asking import PageOperator
from loomproof.web.beginning import hazards_asked, job_of
from loomproof.web.moving import Watching
from loomproof.web.session import Work, told

SECONDS: Mapping[str, int] = {"1 min": 60, "5 min": 300, "15 min": 900, "1 h": 3600, "4 h": 14_400}
"""How long a watch may be asked for; a job takes no longer one at a terminal either."""

PLACE, BUNDLE = "place ", "bundle "
"""How a form calls the fields of what is moved, before the name of a connector or a bundle."""


def looking(house: House, _: Asked) -> Answer:
    """Show the watch that runs, or ran last, and the looms to begin one with."""
    return Page("wiggle.html", {"looms": list(house.workplace.found())})


def prepare(house: House, asked: Asked) -> Answer:
    """Show the form of a watch."""
    return _prepared(house, asked)


def begin(house: House, asked: Asked) -> Answer:
    """Begin the watch that the form asks for; what is wrong with it is said beside the form."""
    name = asked.names["loom"]
    try:
        house.session.begin(lambda operator, hold: _work(house, asked, name, operator, hold))
    except LoomproofError as error:
        return _prepared(house, asked, error)
    return Go(Watching.page)


def figures(house: House, _: Asked) -> Answer:
    """Give all figures of the last watch as JSON. Raises `UsageError` where there is none."""
    loom, wiggle = _last(house)
    text = json.dumps(wiggle.plain(loom), indent=2, ensure_ascii=False)
    return File((text + "\n").encode(), "application/json", "watch.json")


def picture(house: House, _: Asked) -> Answer:
    """Give the picture of the last watch. Raises `UsageError` where there is none."""
    loom, wiggle = _last(house)
    return File(wiggle.picture(loom.name).encode(), "image/svg+xml", "watch.svg")


def _last(house: House) -> tuple[Loom, Wiggle]:
    sight = house.session.sight
    if not isinstance(sight, Watching) or sight.wiggled is None:
        raise UsageError("no watch has ended here yet", cure="Its figures are there once it has ended.")
    return sight.loom, sight.wiggled


def _work(house: House, asked: Asked, name: str, operator: PageOperator, hold: Callable[[], Orders]) -> Work:
    path = house.workplace.loom(name)
    loom = load(path).loom
    seconds = SECONDS.get(asked.field("seconds"))
    if seconds is None:
        raise UsageError(f"{asked.field('seconds')[:40]!r} is no time", cure="Pick one that is offered.")
    hands = Hands(places_of(loom, _places(asked, loom)))
    job = job_of(house, asked, path, loom, operator, hold)
    sight = Watching(loom, hands, job)
    running = job.wiggle(seconds, hands)
    return Work(f"Watch of {loom.name} while it is moved", name, (), running, sight.ended, sight=sight)


def _places(asked: Asked, loom: Loom) -> dict[str, tuple[str, ...]]:
    """Return what the form names to be moved: connectors, and bundles by their wires."""
    plugs = {each.name: (each.name,) for each in loom.connectors if asked.field(PLACE + each.name)}
    bundles = {
        name: tuple(wire.name for wire in wires)
        for name, wires in loom.wires_in.items()
        if asked.field(BUNDLE + name)
    }
    return {**plugs, **{f"bundle {name}": wires for name, wires in bundles.items()}}


def _prepared(house: House, asked: Asked, error: LoomproofError | None = None) -> Answer:
    name = asked.names["loom"]
    path = house.workplace.loom(name)
    try:
        loom = load(path).loom
        benches = house.workplace.offered(path)
    except DescriptionError as wrong:
        return look.wrong(house, name, wrong)
    values: dict[str, Any] = {
        "name": name,
        "loom": loom,
        "given": asked.form,
        "error": None if error is None else told(error, house.how),
        "benches": benches,
        "tables": house.workplace.learned(name),
        "seconds": list(SECONDS),
        "plugs": [each for each in loom.connectors if each.kind != "splice" and each.ends],
        "bundles": list(loom.wires_in),
        "most": MOST_PLACES,
        **hazards_asked(loom),
    }
    return Page("wiggle_loom.html", values, 200 if error is None else 409)
