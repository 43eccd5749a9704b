"""What a word that a person has begun may be: looms that lie here, runs, what a description has."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import assert_never

from loomproof.errors import LoomproofError
from loomproof.jobs.lying_here import connectors_here, looms_here, store_file, workshop_here
from loomproof.loom.ends import End
from loomproof.records.listed import Listed, newest_first

MOST_OFFERED = 200
"""So many are offered; of more a person types another letter first."""


class Offer(StrEnum):
    """What can be offered for a word."""

    LOOM = "a loom that lies here"
    KEPT_LOOM = "a loom that lies here or that runs are kept of"
    RUN = "a run of the store"
    CONNECTOR = "a connector of the loom"
    CAVITY = "a cavity of the loom"


def candidates(
    what: Offer, begun: str, loom: Path | None = None, store: str = ""
) -> tuple[tuple[str, str], ...]:
    """Return what the word ``begun`` may become, each with a few words about it; nothing where none is known.

    Connectors and cavities are those of ``loom``. A name with a blank or a quote is not offered: each shell
    would want it quoted in a way of its own. Raises nothing: who completes a word is not told of errors.
    """
    found: dict[str, str] = {}
    try:
        for word, about in _all(what, begun, loom, store):
            if word.startswith(begun) and not set(word) & set(" \t\"'\\$`"):
                found.setdefault(word, about)
                if len(found) == MOST_OFFERED:
                    break
    except (LoomproofError, OSError):
        return ()
    return tuple(found.items())


def _all(what: Offer, begun: str, loom: Path | None, store: str) -> Iterator[tuple[str, str]]:
    match what:
        case Offer.LOOM:
            yield from _looms(begun)
        case Offer.KEPT_LOOM:
            yield from _looms(begun)
            for run in _runs(store):
                yield from ((name, f"newest run {run.run}") for name in (run.serial, run.loom) if name)
        case Offer.RUN:
            yield "last", "the newest run"
            for run in _runs(store):
                yield run.run, f"{run.loom} {run.serial} {run.verdict}".replace("  ", " ")
        case Offer.CONNECTOR:
            yield from ((name, "") for name, _ in _connectors(loom))
        case Offer.CAVITY:
            for name, cavities in _connectors(loom):
                # Of thousands of cavities only those of the connector that is begun are worth reading.
                if name.startswith(begun[: len(name)]):
                    yield from ((str(End(name, cavity)), "") for cavity in cavities)
        case _:
            assert_never(what)


def _looms(begun: str) -> Iterator[tuple[str, str]]:
    folder, slash, _ = begun.rpartition("/")
    for each in looms_here(Path(folder + slash) if slash else Path()):
        if each.path != "." or not slash:
            yield f"{folder}{slash}{each.path}", each.name


def _runs(store: str) -> tuple[Listed, ...]:
    where = store or workshop_here()[1]
    return () if "://" in where else newest_first(store_file(where))


def _connectors(loom: Path | None) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield connectors with their cavities: of a folder by that one table, of anything else by reading it."""
    if loom is None:
        return
    if loom.is_dir():
        from loomproof.loom.cavities import read_rows

        for name, cavities in connectors_here(loom):
            try:
                yield name, tuple(cavity for row in read_rows(cavities) for cavity in row if cavity)
            except ValueError:
                yield name, ()
        return
    from loomproof.loom.reading import load

    yield from ((connector.name, connector.cavities) for connector in load(loom).loom.connectors)
