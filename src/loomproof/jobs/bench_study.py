"""A repeatability and reproducibility study at a bench: readings added to a table, and what they come to."""

from __future__ import annotations

import math
from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from loomproof.bench import opening
from loomproof.bench.references import Reference
from loomproof.electrics.uncertainty import COVERAGE, Budget, reading_budget
from loomproof.errors import InputError, Problem, UnfitError, UsageError
from loomproof.jobs.files import now, write_file
from loomproof.jobs.gate import cleared_empty
from loomproof.jobs.keeping_tests import keep_selftest
from loomproof.jobs.operator import Operator
from loomproof.jobs.simulated_plugs import plugged_in
from loomproof.loom.tables import Table, csv_bytes, read_csv
from loomproof.loom.text import flaw, pointed
from loomproof.measuring import selftests_kept
from loomproof.measuring.events import Event
from loomproof.measuring.selftests_kept import STUDY, OperatorStudy, SelfTest
from loomproof.records.order import started_moment
from loomproof.reports.words import clean, plural
from loomproof.results.codec import fault_of
from loomproof.results.figures import ohms
from loomproof.upkeep.study import MOST_SHARE, Reading, Study, study_of

COLUMNS = ("operator", "part", "ohm", "date", "bench", "accuracy_ohm", "accuracy_ratio")
"""Columns of a study's table; the first three are enough."""

SOURCE_HEADS = ("source", "sum of squares Ω²", "degrees", "mean square Ω²", "F", "chance")
COMPONENT_HEADS = ("spread of", "standard deviation", "share of variance")


@dataclass(frozen=True, slots=True)
class Studied:
    """A study with the limits of error that its bench stated, (Ω, ratio); ``None`` where none were kept.

    ``bench`` is the bench's name, ``date`` when it was last read for it (RFC 3339); "" where the table does
    not say.
    """

    study: Study
    accuracy: tuple[float, float] | None = None
    bench: str = ""
    date: str = ""

    @property
    def source_texts(self) -> Iterator[tuple[str, ...]]:
        """The analysis of variance in rows, as `SOURCE_HEADS` names them."""
        for each in self.study.sources:
            f = "" if each.f is None else f"{each.f:.2f}"
            chance = "" if each.chance is None else f"{each.chance:.3f}" if each.chance >= 5e-4 else "< 0.001"
            yield each.name, f"{each.squares:.4g}", str(each.freedom), f"{each.mean_square:.4g}", f, chance

    @property
    def component_texts(self) -> Iterator[tuple[str, ...]]:
        """Standard deviations in rows, as `COMPONENT_HEADS` names them."""
        study = self.study
        whole = study.both_ohm**2 + study.part_ohm**2
        for name, ohm in (
            ("one operator again (repeatability)", study.repeatability_ohm),
            ("another operator (reproducibility)", study.reproducibility_ohm),
            ("both together", study.both_ohm),
            ("the parts themselves", study.part_ohm),
        ):
            yield name, ohms(ohm), f"{ohm**2 / whole:.1%}" if whole else ""

    @property
    def sentences(self) -> Iterator[str]:
        """What it says of a reading, and of the uncertainty of one."""
        study = self.study
        yield (
            f"{plural(study.operators, 'operator')}, {plural(study.parts, 'part')}, "
            f"{study.repeats} repeats; mean {ohms(study.mean_ohm)}."
        )
        if not study.spread:
            yield (
                "All readings of a part are alike: no spread was seen, so the study says nothing of how "
                "readings scatter. Read with more figures, or take parts and repeats that differ."
            )
            return
        judged = "more than" if study.share > MOST_SHARE else "within"
        yield (
            f"Measuring makes {study.share:.0%} of the whole standard deviation, {judged} the "
            f"{MOST_SHARE:.0%} that is usually allowed for telling these parts apart."
        )
        if self.accuracy is None:
            yield (
                f"One reading by any operator scatters by {ohms(COVERAGE * study.both_ohm)} (k = 2); what "
                "the meter's limits of error add is not in the table."
            )
            return
        alone, whole = self._budget(with_operators=False), self._budget(with_operators=True)
        yield (
            f"One reading of {ohms(study.mean_ohm)} on this bench: U = {ohms(alone.expanded_ohm)} with the "
            f"repeatability of this study, {ohms(whole.expanded_ohm)} with the change of operators as well "
            f"(k = 2, {_degrees(whole.degrees_of_freedom)})."
        )

    def _budget(self, *, with_operators: bool) -> Budget:
        accuracy_ohm, ratio = self.accuracy or (0.0, 0.0)
        study = self.study
        return reading_budget(
            accuracy_ohm,
            ratio,
            study.mean_ohm,
            repeatability_ohm=study.repeatability_ohm,
            repeatability_readings=study.sources[-1].freedom + 1,
            reproducibility_ohm=study.reproducibility_ohm if with_operators else 0.0,
            reproducibility_freedom=study.reproducibility_freedom,
        )


def _degrees(freedom: float) -> str:
    return "many degrees of freedom" if freedom > 100 else f"{freedom:.0f} degrees of freedom"


def take(
    path: Path, who: str, parts: Sequence[Reference], address: str, operator: Operator
) -> Generator[Event, None, str]:
    """Read each part once and add the readings to the table; return what was done, as a sentence.

    Raises `UsageError` without an operator's name or parts, `InputError` for a table that is none,
    `UnfitError` for a bench without ohms or a part that reads open, `SafetyError` where nobody says that no
    loom is on.
    """
    if not who.strip() or flaw(who):
        raise UsageError("a reading of a study needs its operator", cure="Name who plugged and reads.")
    if not parts:
        raise UsageError("no part is named", cure="Name two resistors or more, each by its points and ohms.")
    before = _rows(path) if path.exists() else ()
    with (
        plugged_in(address, None, None, references=parts) as (where, loom),
        opening.open_bench(where, loom_path=loom) as bench,
    ):
        clearance = yield from cleared_empty(bench, operator)
        able, identity = bench.capabilities(), clearance.identity
        if able.ohms is None or able.accuracy is None:
            raise UnfitError("this bench does not measure ohms, or does not say how well")
        named = " ".join(filter(None, (identity.maker, identity.model, identity.serial)))
        others = {row["bench"] for row in before if row["bench"]} - {named}
        if others:
            raise UsageError(
                f"{path} is a study of {', '.join(sorted(others))}, and this is {named}",
                cure="Begin another table: a study is of one bench.",
            )
        read = [bench.resistance(*part.sets) for part in parts]
    names = [f"{part.ohm:g} ohm at {part.a}, {part.b}" for part in parts]
    gone = [name for name, ohm in zip(names, read, strict=True) if not math.isfinite(ohm)]
    if gone:
        raise UnfitError(f"{gone[0]} reads open; nothing was added", cure="Plug it, and read all again.")
    date = now().isoformat(timespec="seconds").replace("+00:00", "Z")
    limits = (f"{able.accuracy.ohm!r}", f"{able.accuracy.ratio!r}")
    rows = [tuple(row[name] for name in COLUMNS) for row in before]
    rows += [
        (who.strip(), name, f"{ohm!r}", date, named, *limits) for name, ohm in zip(names, read, strict=True)
    ]
    write_file(path, csv_bytes(COLUMNS, rows))
    return f"{path}: {plural(len(read), 'reading')} by {clean(who.strip())} added, {len(rows)} in all."


def read(path: Path) -> Studied:
    """Read a study's table and analyse it. Raises `InputError` by cell, `UsageError` for no whole study."""
    rows = _rows(path)
    benches = {row["bench"] for row in rows if row["bench"]}
    if len(benches) > 1:
        raise UsageError(f"{path} has readings of {len(benches)} benches", cure="A study is of one bench.")
    limits = {(row["accuracy_ohm"], row["accuracy_ratio"]) for row in rows}
    accuracy = None
    if len(limits) == 1 and all(next(iter(limits))):
        ohm, ratio = next(iter(limits))
        accuracy = float(pointed(ohm)), float(pointed(ratio))
    found = study_of([Reading(row["operator"], row["part"], float(pointed(row["ohm"]))) for row in rows])
    dates = [row["date"] for row in rows]
    date = max(dates, key=started_moment) if all(dates) else ""
    return Studied(found, accuracy, next(iter(benches)) if all(r["bench"] for r in rows) else "", date)


def keep(path: Path) -> str:
    """Keep what a study came to, for proofs on its bench to count; return what was done, as a sentence.

    The newest study of a bench counts, by the date of its last reading. Raises as `read`, `UsageError` for a
    table that does not say when and where all was read, or that shows no spread, `StoreError`.
    """
    found = read(path)
    study, added_ohm = found.study, found.study.reproducibility_ohm
    if not found.bench or not found.date:
        raise UsageError(
            f"{path} does not say of each reading when and on which bench it was made: no proof can count it",
            cure="Read the parts at the bench itself, round by round, into one table.",
        )
    if not study.spread:
        raise UsageError(
            f"{path}: all readings of a part are alike, so nothing is known of what operators add",
            cure="Read with more figures, or take parts and repeats that differ.",
        )
    came_to = OperatorStudy(study.operators, study.parts, study.repeats, added_ohm)
    test = SelfTest("", found.bench, "", found.date, STUDY, (), study=came_to)
    try:
        selftests_kept.of_line(selftests_kept.line_of(test))
    except ValidationError as error:
        raise UsageError(f"{path} can't be kept: {fault_of(error)}", cure="Mend the table.") from None
    keep_selftest(test)
    counted = f"a standard uncertainty of {ohms(added_ohm)}" if added_ohm else "nothing"
    return (
        f"Kept for {clean(found.bench)}: in each resistance that a proof on it reads, {counted} is counted "
        f"for a change of operator ({came_to})."
    )


def _rows(path: Path) -> tuple[dict[str, str], ...]:
    """Return the rows of a table, "" in columns that it lacks. Raises `InputError` that names each cell."""
    table, problems = read_csv(path)
    heads = () if table is None else table.headings
    if table is not None and not problems:
        problems = [
            table.problem(f"the column {name} is missing", 1, cure=f"Columns: {', '.join(COLUMNS)}.")
            for name in COLUMNS[:3]
            if name not in heads
        ]
    found = []
    if table is not None and not problems:
        for number, cells in table.rows:
            row = dict.fromkeys(COLUMNS, "") | dict(zip(heads, cells, strict=False))
            found.append(row)
            problems += _wrong(table, number, row)
    if problems:
        raise InputError(f"{path} is no table of a study", problems=problems)
    return tuple(found)


def _wrong(table: Table, number: int, row: dict[str, str]) -> list[Problem]:
    problems = [
        table.problem("it is empty", number, name, "Every reading has its operator and its part.")
        for name in ("operator", "part")
        if not row[name]
    ]
    for name in ("ohm", "accuracy_ohm", "accuracy_ratio"):
        text = row[name]
        if not text and name != "ohm":
            continue
        try:
            value = float(pointed(text))
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or (name != "ohm" and value < 0.0):
            problems.append(
                table.problem(f"{text!r} is no figure in ohms", number, name, "Write it as 0.47.")
            )
    return problems
