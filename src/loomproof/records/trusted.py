"""What a store shows of its runs, from the sealed records themselves and not from its tables."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from loomproof.errors import Do, LoomproofError, RecordError, Todo, UnknownSignerError
from loomproof.records.corrections import corrections
from loomproof.records.deleted import words_of
from loomproof.records.inserting import derived_rows
from loomproof.records.lines import Run
from loomproof.records.queries import FoundRow, last_records
from loomproof.records.schema import SIMULATED_CHAIN
from loomproof.records.seal import Verified, verify
from loomproof.records.since_last_pass import key_by
from loomproof.records.store import Store


@dataclass(frozen=True)
class Trusted:
    """One run as its sealed record tells it.

    ``signer`` is the name under which its key is known, "" for unknown; ``corrected_by`` the run that
    corrects it. Where the record does not hold, or says something else than the table, ``trouble`` says so,
    and nothing else here is to be believed. ``deleted`` says of a run whose body was deleted by a rule when
    and by whom: its line is what the table keeps.
    """

    run: Run
    signer: str = ""
    corrected_by: str = ""
    trouble: str = ""
    verified: Verified | None = None
    deleted: str = ""

    @property
    def simulated(self) -> bool:
        """Whether its bench was a simulator: as the record says, else as the chain is named."""
        if self.verified is None:
            return self.run.bench.startswith(SIMULATED_CHAIN)
        document = self.verified.body.get("document")
        bench = document.get("bench") if isinstance(document, dict) else None
        return bool(isinstance(bench, dict) and bench.get("simulated"))

    @property
    def grade(self) -> str:
        """The grade of a pass that is to be believed; "" for other verdicts, and from before grades."""
        if self.trouble or self.verified is None or self.run.verdict != "pass":
            return ""
        return self.verified.document().grade or ""


def trusted_runs(
    store: Store, known: Mapping[str, str], loom: str | None = None, limit: int | None = None
) -> tuple[Trusted, ...]:
    """Return runs as `Store.runs` does, each checked against its record; ``known`` names keys."""
    corrected = corrections(store)
    found = last_records(store, loom, limit)
    with store.reading() as connection:
        deleted = words_of(connection, [run.id for run, record in found if record is None])
    return tuple(
        replace(trusted_run(run, record, known), corrected_by=corrected.get(run.hash, ""))
        if run.id not in deleted
        else Trusted(run, known.get(run.key, ""), deleted=deleted[run.id])
        for run, record in found
    )


def trusted_run(run: Run, record: bytes | None, known: Mapping[str, str]) -> Trusted:
    """Return one run as its record tells it."""
    place = f"record {run.sequence} of {run.bench} (run {run.run})"
    if record is None:
        return Trusted(run, trouble=f"{place}: its record is missing or damaged")
    try:
        verified = verify(record, known, place)
        told = run_of(run.id, verified)
    except LoomproofError as error:
        return Trusted(run, trouble=error.message)
    trouble = "" if told == run else f"{place}: the store's table says something else than the sealed record"
    return Trusted(told, verified.signer, trouble=trouble, verified=verified)


def run_of(number: int, verified: Verified) -> Run:
    """Return a run's line as its record makes it; ``number`` is the id under which the store has it."""
    derived = derived_rows(verified)
    loom = {"loom": derived.loom["name"], "serial": derived.loom["serial"], "digest": derived.loom["digest"]}
    values: dict[str, Any] = {**derived.run, **loom}
    return Run(id=number, **values)


def relied_on(store: Store, run: str, known: Mapping[str, str]) -> Verified:
    """Return a run's record where it can be relied on.

    `RecordError` where it does not hold, or its line says something else; `UnknownSignerError` where nobody
    here knows who sealed it.
    """
    found = store.run(run)
    one = trusted_run(found, store.record(found.hash), known)
    if one.trouble or one.verified is None:
        raise RecordError(one.trouble, do=Todo.CHECK_RECORDS)
    if not one.signer:
        raise UnknownSignerError(
            f"run {one.run.run} was sealed by a key that nobody here knows ({one.verified.fingerprint})",
            cure="Settle with the signer whose it is, and add it to those you know; or name another run.",
            do=Do(Todo.KNOW_SIGNER, one.verified.key),
        )
    return one.verified


def found_in(runs: Iterable[Trusted]) -> tuple[FoundRow, ...]:
    """Return one row for each finding of these runs and each thing that it names, from their records."""
    rows: list[FoundRow] = []
    for one in runs:
        if one.verified is None:
            continue
        derived = derived_rows(one.verified)
        for found in derived.findings:
            named = [place for place in derived.places if place["number"] == found["number"]]
            named.sort(key=lambda place: (str(place["what"]), str(place["name"])))
            places: dict[str, list[str]] = defaultdict(list)
            for place in named:
                places[str(place["what"])].append(str(place["name"]))
            key = key_by(str(found["kind"]), str(found["cause"]), places)
            values: dict[str, Any] = {
                "run": one.run.run,
                "ended": one.run.ended,
                "loom": one.run.loom,
                "serial": one.run.serial,
                **found,
                "key": key,
            }
            # A finding that names nothing has no place.
            for place in named or [{"what": "", "name": ""}]:
                rows.append(FoundRow(what=str(place["what"]), name=str(place["name"]), **values))
    return tuple(rows)
