"""The fitting sheet on a page, worked through in the car on a phone: each step ticked, dated, kept."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby
from typing import Any

from loomproof.errors import LoomproofError, UsageError
from loomproof.jobs.archive import Archive
from loomproof.jobs.fitting import Tick, Worked, choose, tick, worked
from loomproof.loom.reading import load
from loomproof.reports.fitting_sheet import POWER_UP, sheet_pdf
from loomproof.reports.fitting_steps import LEAVE, Step
from loomproof.reports.words import when
from loomproof.web.answers import Answer, Asked, Data, File, Go, House, Page
from loomproof.web.session import told


def looms(house: House, _: Asked) -> Answer:
    """List the looms whose sheets can be worked through."""
    return Page("fit_looms.html", {"looms": list(house.workplace.found())})


def sheet(house: House, asked: Asked) -> Answer:
    """Show the sheet of a loom as a list to tick."""
    return _shown(house, asked)


def ticked(house: House, asked: Asked) -> Answer:
    """Tell a page of ours what is ticked by now."""
    return Data(_ticks(_worked(house, asked)))


def ticks(house: House, asked: Asked) -> Answer:
    """Tick a step or take its tick back, for a form or for a script of ours."""
    by_script = isinstance(asked.json, dict)
    said: dict[str, object] = dict(asked.json) if isinstance(asked.json, dict) else _pressed(asked.form)
    step, person = str(said.get("step", "")), str(said.get("person", "")).strip()
    if said.get("done") not in ("yes", "no"):
        raise UsageError("it is not said whether the step is done", cure="Load the page again.")
    path = house.workplace.loom(asked.names["loom"])
    done = said["done"] == "yes"
    now = tick(path, _worked(house, asked), step, done=done, moment=house.now(), person=person)
    return Data(_ticks(now)) if by_script else Go(f"{_address(asked)}#{step}")


def _pressed(form: Mapping[str, str]) -> dict[str, object]:
    """Return what a form says whose button is called what becomes of its step: ``yes`` or ``no``."""
    done = next((done for done in ("yes", "no") if done in form), "")
    return {"step": form.get(done, ""), "done": done, "person": form.get("person", "")}


def choices(house: House, asked: Asked) -> Answer:
    """Answer the choices of the conversion, those that were answered otherwise."""
    path = house.workplace.loom(asked.names["loom"])
    loom = load(path).loom
    try:
        now = dict(_worked(house, asked).sheet.answers)
        for choice in loom.choices:
            said = asked.field(f"choice {choice.name}")
            if said and said != now[choice.name]:
                choose(path, loom, choice.name, said, house.now())
    except LoomproofError as error:
        return _shown(house, asked, error)
    return Go(_address(asked))


def paper(house: House, asked: Asked) -> Answer:
    """Give the sheet as PDF, with empty boxes."""
    return File(sheet_pdf(_worked(house, asked).sheet), "application/pdf", "fitting_sheet.pdf")


def _worked(house: House, asked: Asked) -> Worked:
    return worked(house.workplace.loom(asked.names["loom"]), Archive(house.workplace.store))


def _address(asked: Asked) -> str:
    from urllib.parse import quote

    return f"/fit/{quote(asked.names['loom'], safe='')}"


def said_of(made: Tick) -> str:
    """Return when a step was ticked, and by whom, in words."""
    return f"ticked {when(made.at)[:16]} UTC{f', {made.person}' if made.person else ''}"


def _ticks(found: Worked) -> dict[str, Any]:
    """Return what is ticked, with the words for each, and how much is open before the first power-up."""
    return {
        "ticked": {key: said_of(made) for key, made in found.ticked.items()},
        "steps": sorted(step.key for step in found.steps if step.to_do),
        "open": found.open_before_power,
    }


def _shown(house: House, asked: Asked, error: LoomproofError | None = None) -> Answer:
    found = _worked(house, asked)
    parts = [(part, list(steps)) for part, steps in groupby(found.steps, key=_part)]
    values = {
        "name": asked.names["loom"],
        "address": _address(asked),
        "sheet": found.sheet,
        "parts": [(part, steps) for part, steps in parts if part != LEAVE],
        "left": [step for part, steps in parts if part == LEAVE for step in steps],
        "ticked": {key: said_of(made) for key, made in found.ticked.items()},
        "outdated": [(made.words, said_of(made)) for made in found.outdated],
        "open": found.open_before_power,
        "power_up": POWER_UP,
        "choices": found.loom.choices,
        "answers": dict(found.sheet.answers),
        "of": f"{found.loom.digest[:16]} {found.loom.serial}",
        "error": None if error is None else told(error, house.how),
    }
    return Page("fit.html", values, 200 if error is None else 409)


def _part(step: Step) -> str:
    return step.part
