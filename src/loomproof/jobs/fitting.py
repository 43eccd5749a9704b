"""The fitting sheet worked through in the car: which steps were ticked, kept in a file beside the loom.

A tick says that somebody pressed it, and when; it proves nothing. The file only grows, so that what was
unticked again stays readable. Ticks are those of one loom: where its serial changes, they are another's.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path

from pydantic import TypeAdapter

from loomproof.errors import UsageError
from loomproof.fitting.sheet import fitting_sheet
from loomproof.jobs.archive import Archive
from loomproof.jobs.files import rfc3339
from loomproof.loom.choices import answered
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.measuring.line_file import append, kept_lines
from loomproof.reports.fitting_steps import Step, before_power, steps_of
from loomproof.results.codec import Moment
from loomproof.results.fitting import Sheet

NAME = "fitted.jsonl"
"""The file in a loom's folder; of a loom that is a file it is called after that."""

MOST_LETTERS = 100
"""Of a person's name."""


@dataclass(frozen=True)
class Tick:
    """A step that was ticked, or unticked, with its words then; ``at`` is RFC 3339, UTC."""

    step: str
    done: bool
    at: Moment
    words: str
    person: str = ""
    serial: str = ""


@dataclass(frozen=True)
class Chosen:
    """A choice of the conversion that was answered."""

    choice: str
    answer: str
    at: Moment
    serial: str = ""


_LINE: TypeAdapter[Tick | Chosen] = TypeAdapter(Tick | Chosen)


@dataclass(frozen=True)
class Worked:
    """A loom's sheet, its steps, which of them are ticked, and ticks of steps that read otherwise now."""

    loom: Loom
    sheet: Sheet
    steps: tuple[Step, ...]
    ticked: Mapping[str, Tick]
    outdated: tuple[Tick, ...]

    @property
    def open_before_power(self) -> int:
        """How many steps are not ticked that stand before the first power-up."""
        return sum(step.key not in self.ticked for step in before_power(self.sheet))


def kept_beside(loom_path: Path) -> Path:
    """Return where the ticks of a loom are kept."""
    return loom_path / NAME if loom_path.is_dir() else loom_path.with_name(f"{loom_path.name}.{NAME}")


def worked(loom_path: Path, archive: Archive) -> Worked:
    """Return a loom's sheet, as its answers and its latest proof make it, with what is ticked of it.

    Raises as `load` and `Archive.proof_of` do, and `InputError` for a file that holds no ticks.
    """
    loom = load(loom_path).loom
    ticks, chosen = _kept(loom_path, loom.serial)
    said = [(name, answer) for name, answer in chosen.items() if _still_there(loom, name, answer)]
    sheet = fitting_sheet(loom, answered(loom, said), archive.proof_of(loom))
    steps = steps_of(sheet)
    now = {step.key for step in steps}
    return Worked(
        loom,
        sheet,
        steps,
        {key: tick for key, tick in ticks.items() if key in now},
        tuple(tick for key, tick in ticks.items() if key not in now),
    )


def tick(
    loom_path: Path, seen: Worked, step: str, *, done: bool, moment: datetime, person: str = ""
) -> Worked:
    """Tick a step of a sheet, or take its tick back, and return what is ticked then.

    What is so already is not kept twice, and stays as it was dated first.

    Raises `UsageError` for a step that the sheet does not have, and `StoreError` where nothing can be kept.
    """
    if len(person) > MOST_LETTERS:
        raise UsageError(f"a name of {len(person)} letters", cure=f"Give at most {MOST_LETTERS}.")
    words = next((each.title for each in seen.steps if each.key == step and each.to_do), None)
    if words is None:
        raise UsageError(
            "the fitting sheet has no such step any more: loom, answers or proof have changed",
            cure="Load the page again, and look at what stands there now.",
        )
    if done is (step in seen.ticked):
        return seen
    made = Tick(step, done, rfc3339(moment), words, person, seen.loom.serial)
    _keep(loom_path, made)
    others = {key: each for key, each in seen.ticked.items() if key != step}
    return replace(seen, ticked={**others, step: made} if done else others)


def choose(loom_path: Path, loom: Loom, choice: str, answer: str, moment: datetime) -> None:
    """Answer a choice of the conversion. Raises `UsageError` for one that is none, `StoreError`."""
    answered(loom, [(choice, answer)])
    _keep(loom_path, Chosen(choice, answer, rfc3339(moment), loom.serial))


def _keep(loom_path: Path, what: Tick | Chosen) -> None:
    line = json.dumps(asdict(what), ensure_ascii=False)
    append(kept_beside(loom_path), line, "ticks", "Make room or rights there: they are kept with the loom.")


def _kept(loom_path: Path, serial: str) -> tuple[dict[str, Tick], dict[str, str]]:
    """Return what is ticked, by step, and what was chosen, of the loom with this serial."""
    ticks: dict[str, Tick] = {}
    chosen: dict[str, str] = {}
    aside = "Put that file aside: its ticks are lost, and the sheet begins anew."
    for each in kept_lines(kept_beside(loom_path), _LINE.validate_json, "tick", aside, None):
        if each.serial != serial:
            continue
        if isinstance(each, Chosen):
            chosen[each.choice] = each.answer
        elif each.done:
            ticks[each.step] = each
        else:
            ticks.pop(each.step, None)
    return ticks, chosen


def _still_there(loom: Loom, name: str, answer: str) -> bool:
    """Say whether a choice that was answered once is still one of the description."""
    known = {choice.name: [each.name for each in choice.answers] for choice in loom.choices}
    return answer in known.get(name, [])
