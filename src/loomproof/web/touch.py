"""At the probe: what is touched is told, an adapter is learned, the ends of an unknown loom are named."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Generator
from pathlib import Path
from typing import Any, TypeVar

from loomproof.errors import DescriptionError, LoomproofError, UsageError
from loomproof.jobs.adapters import read_adapter
from loomproof.jobs.build_adapter import build_adapter
from loomproof.jobs.events import Event, Progress
from loomproof.jobs.keep import Orders
from loomproof.jobs.learn_adapter import learn_adapter, name_touched
from loomproof.jobs.naming import name_ends
from loomproof.jobs.naming_files import opened
from loomproof.jobs.running import Running
from loomproof.jobs.simulated_probe import with_a_probe
from loomproof.jobs.touched import Telling
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.web import look
from loomproof.web.answers import Answer, Asked, Data, Go, House, Page
from loomproof.web.asking import PageOperator
from loomproof.web.beginning import hazards_asked, job_of
from loomproof.web.live import faces_of
from loomproof.web.session import Work, told
from loomproof.web.touching import AtTheProbe, Learning, Naming, Saying
from loomproof.web.workplace import SIMULATED

T = TypeVar("T")
Begins = Callable[[House, Asked, str, PageOperator, Callable[[], Orders]], Work]


def looking(house: House, _: Asked) -> Answer:
    """Show the job at the probe, if that runs or ran last, and the looms to begin one with."""
    sight = house.session.sight
    at_probe = sight if isinstance(sight, AtTheProbe) else None
    values = {
        "kind": at_probe.kind if at_probe else "",
        "faces": faces_of(at_probe.loom) if at_probe else (),
        "held": at_probe is not None and at_probe.hold is not None,
        "looms": list(house.workplace.found()),
    }
    return Page("touch.html", values)


def prepare(house: House, asked: Asked) -> Answer:
    """Show what can be done at the probe with one loom."""
    return _prepared(house, asked)


def said(house: House, asked: Asked) -> Answer:
    """Say something to the job that runs. Raises `UsageError` where it can't be meant."""
    house.session.say(asked.json if isinstance(asked.json, dict) else {})
    return Data({})


def say(house: House, asked: Asked) -> Answer:
    """Begin to tell of each touch which net that is."""
    return _begin(house, asked, _say)


def learn(house: House, asked: Asked) -> Answer:
    """Begin to learn an adapter table, or go on with one that was begun here."""
    return _begin(house, asked, _learn)


def name(house: House, asked: Asked) -> Answer:
    """Begin to name the ends of a traced loom, or go on with it."""
    return _begin(house, asked, _name)


def _begin(house: House, asked: Asked, work: Begins) -> Answer:
    loom = asked.names["loom"]
    try:
        house.session.begin(lambda operator, hold: work(house, asked, loom, operator, hold))
    except LoomproofError as error:
        return _prepared(house, asked, error)
    return Go(AtTheProbe.page)


def _say(house: House, asked: Asked, name: str, operator: PageOperator, hold: Callable[[], Orders]) -> Work:
    path = house.workplace.loom(name)
    loom = load(path).loom
    job = job_of(house, asked, path, loom, operator, hold)
    leads, assured = job.adapter, job.assured
    sight = Saying(Telling(loom, leads))

    def telling(at: str) -> Generator[Event, None, None]:
        return name_touched(
            loom, at, leads, operator, loom_path=path, assured=assured, patience=sight.patience
        )

    running = Running(_at_probe(house, asked, path, sight, telling))
    return Work(f"Touch {loom.name}", name, (), running, sight.ended, sight=sight)


def _learn(house: House, asked: Asked, name: str, operator: PageOperator, _: Callable[[], Orders]) -> Work:
    path = house.workplace.loom(name)
    loom = load(path).loom
    table, known = house.workplace.new_table(name), {}
    if begun := asked.field("table"):
        tables = house.workplace.learned(name)
        if begun not in tables:
            raise UsageError(
                f"{begun[:80]}: no table of that name was begun here", cure="Load the page again."
            )
        table = tables[begun]
        known = {lead.end: lead.point for lead in read_adapter(table).entries}
    sight = Learning(loom, table.name, known)
    house.workplace.out.mkdir(parents=True, exist_ok=True)

    def learning(at: str) -> Generator[Event, None, object]:
        if asked.field("making"):
            shorted = bool(asked.field("shorted"))
            return build_adapter(
                loom, at, table, operator, loom_path=path, patience=sight.patience, shorted=shorted
            )
        return learn_adapter(
            loom, at, table, operator, loom_path=path, patience=sight.patience, resume=table.exists()
        )

    running = Running(_at_probe(house, asked, path, sight, learning, bare=loom))
    return Work(f"Learn the adapter of {loom.name}", name, (), running, sight.ended, sight=sight)


def _name(house: House, asked: Asked, name: str, operator: PageOperator, hold: Callable[[], Orders]) -> Work:
    path = house.workplace.loom(name)
    found = opened(path)
    loom = found.named.loom
    job = job_of(house, asked, path, loom, operator, hold)
    car = load(house.workplace.loom(asked.field("car"))).loom if asked.field("car") else None
    leads, assured = house.workplace.adapter(asked.field("adapter")), job.assured
    sight = Naming(found.named.traced, found.named.names)

    def naming(at: str) -> Generator[Event, None, object]:
        return name_ends(path, at, operator, sight, leads, car, assured)

    running = Running(_at_probe(house, asked, path, sight, naming))
    return Work(f"Name the ends of {loom.name}", name, (), running, sight.ended, sight=sight)


def _at_probe(
    house: House,
    asked: Asked,
    path: Path,
    sight: AtTheProbe,
    job: Callable[[str], Generator[Event, None, T]],
    bare: Loom | None = None,
) -> Generator[Event, None, T]:
    """Return the job on the bench that was picked; a simulated one starts with a probe for pages."""
    address = house.workplace.bench(asked.field("bench"), path)

    def running() -> Generator[Event, None, T]:
        yield Progress("opening the bench")
        with with_a_probe(address, path, bare) as (at, hold):
            sight.held_by(hold or house.workplace.probe)
            yield Progress("clearing the bench")
            try:
                return (yield from job(at))
            finally:
                if sight.hold is not None:  # the next job would find what it is on held at 0 V
                    with contextlib.suppress(LoomproofError):  # a simulator that has ended holds nothing
                        sight.hold(None)

    return running()


def _prepared(house: House, asked: Asked, error: LoomproofError | None = None) -> Answer:
    """Return the page of one loom at the probe, with what was typed so far and what is wrong."""
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
        "simulated": any(each.startswith(SIMULATED) for each in benches),
        "tables": house.workplace.learned(name),
        "others": [each for each in house.workplace.found() if each != name],
        "folder": path.is_dir(),
        **hazards_asked(loom),
    }
    return Page("touch_loom.html", values, 200 if error is None else 409)
