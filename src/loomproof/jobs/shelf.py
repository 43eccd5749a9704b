"""A list of kept runs, as a person reads it: rows of texts, what is counted, what can't be relied on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from loomproof.errors import Do, Problem, Todo
from loomproof.records.trusted import Trusted
from loomproof.records.unfinished_runs import Started
from loomproof.reports.listing import Cell
from loomproof.reports.words import VERDICTS, plural, when

RUN_HEADS = ("run", "ended", "verdict", "loom", "by")
BROKEN_OFF_HEADS = ("run", "started", "ended", "loom", "journal")

_STYLES = {"pass": "green", "fail": "red", "undecided": "yellow", "incomplete": "yellow"}


@dataclass(frozen=True)
class Shelf:
    """Runs as their sealed records tell them, those without one, and what is not as it was kept.

    ``broken_off`` are those begun that have no record in the store: broken off, or their record is gone.
    """

    runs: tuple[Trusted, ...]
    broken_off: tuple[Started, ...]
    troubles: tuple[str, ...]

    def __bool__(self) -> bool:
        return bool(self.runs or self.broken_off)

    @property
    def run_texts(self) -> Iterator[tuple[str | Cell, ...]]:
        """A row of texts for each run, as `RUN_HEADS` names them; who cannot be relied on is marked."""
        for one in self.runs:
            run = one.run
            yield (
                f"{run.run} (correction)" if run.kind == "correction" else run.run,
                when(run.ended)[:16],
                _verdict(one),
                f"{run.loom}, {run.serial}" if run.serial else run.loom,
                run.person,
            )

    @property
    def broken_off_texts(self) -> Iterator[tuple[str | Cell, ...]]:
        """A row of texts for each run that has no record, as `BROKEN_OFF_HEADS` names them."""
        for one in self.broken_off:
            yield (
                one.run,
                when(one.started)[:16],
                Cell("NO RECORD", _STYLES["fail"])
                if came_to_its_end(one)
                else Cell("BROKEN OFF", _STYLES["incomplete"]),
                f"{one.loom}, {one.serial}" if one.serial else one.loom,
                one.journal if Path(one.journal).exists() else f"{one.journal} (gone)",
            )

    @property
    def lost_told(self) -> str:
        """What NO RECORD means and what is left of those runs; "" where none is without its record."""
        if not any(map(came_to_its_end, self.broken_off)):
            return ""
        return (
            "NO RECORD: it came to its end and was kept; what was kept is not in this store. A backup, or "
            "the record file beside its journal, brings it back."
        )

    @property
    def apart(self) -> tuple[tuple[str, Shelf], ...]:
        """Runs on real benches, then those on simulated ones with the heading they stand under, if any."""
        real = tuple(one for one in self.runs if not one.simulated)
        simulated = tuple(one for one in self.runs if one.simulated)
        parts = (("", real), ("On a simulated bench:", simulated))
        return tuple((head, Shelf(runs, (), ())) for head, runs in parts if runs)

    @property
    def counted(self) -> tuple[Trusted, ...]:
        """The runs that can be relied on: their records hold, and somebody here knows who sealed them."""
        return tuple(one for one in self.runs if one.signer and not one.trouble and not one.deleted)

    @property
    def left_out(self) -> Iterator[Problem]:
        """What is listed and counted nowhere: bodies that were deleted, and keys that nobody here knows."""
        if gone := [one for one in self.runs if one.deleted]:
            said = f"Left out: {plural(len(gone), 'record')}, {gone[-1].deleted}"
            more = " and before" if len({one.deleted for one in gone}) > 1 else ""
            yield Problem(f"{said}{more}.", severity="warning")
        strange = [one.run for one in self.runs if not (one.trouble or one.signer or one.deleted)]
        for key, bench in {run.key: run.bench for run in strange}.items():
            count = plural(sum(run.key == key for run in strange), "record")
            said = f"Left out: {count} of {bench}, sealed by a key that nobody here knows."
            yield Problem(said, severity="warning", do=Do(Todo.KNOW_SIGNER, key))


def came_to_its_end(one: Started) -> bool:
    """Whether a run without a record was sealed, by its line, or as its results beside the journal tell."""
    return one.sealed or Path(one.journal).with_name(f"{one.run}.results.json").is_file()


def _verdict(one: Trusted) -> Cell:
    """Say what a run claims, and what stands against relying on it."""
    run = one.run
    said = VERDICTS.get(run.verdict, run.verdict) + (f" ({run.faults})" if run.faults else "")
    said = f"{said} {one.grade}".rstrip()
    if one.trouble:
        return Cell("CHANGED", "red")
    if one.deleted:
        return Cell(f"{said}, body deleted", "yellow")
    if not one.signer:
        return Cell(f"{said}, signer unknown", "yellow")
    if one.corrected_by:
        return Cell(f"{said}, corrected", "yellow")
    return Cell(said, _STYLES.get(run.verdict, ""))
