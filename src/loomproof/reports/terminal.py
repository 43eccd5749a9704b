"""What a person reads on the screen: the verdict, then each finding with evidence and repair.

Returns rich renderables; who prints them decides on colour and width.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.measure import Measurement
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from loomproof.loom.ends import End
from loomproof.reports.ruler import text_rulers
from loomproof.reports.words import (
    VERDICTS,
    asked,
    averaged,
    bench_text,
    capacitance,
    cause,
    clean,
    evidence,
    graded,
    place_in_brief,
    plural,
    reasons,
    sentence,
    shared_places,
    uncertain,
    when,
    wires,
    worst,
)
from loomproof.results.document import ConnectorEntry, Document
from loomproof.results.figures import ohms
from loomproof.results.findings import Finding

_STYLES = {"pass": "bold green", "fail": "bold red", "undecided": "bold yellow", "incomplete": "bold yellow"}


def summary_view(document: Document, *, cautions: bool = False) -> RenderableType:
    """Show the verdict, what was proved, on which bench, how much, and what was not tested.

    ``cautions`` shows them too; a command that showed them before the proof does not say them twice.
    """
    loom, bench, counts = document.loom, document.bench, document.counts
    name = f"{loom.name}, {loom.serial}" if loom.serial else loom.name
    style = _STYLES[document.verdict.value]
    verdict = Text(VERDICTS[document.verdict.value], style=style)
    lines: list[RenderableType] = [Text.assemble(verdict, "  ", (clean(name), "bold"))]
    if document.verdict.value == "pass":
        lines.append(Text(clean(graded(document)), style=style))
        if document.grade in ("bench", "connections"):
            lines.append(Text(sentence(document)))
    lines += [Text(clean(reason)) for reason in reasons(document)]
    tested = len(document.coverage.tested)
    facts = _Facts()
    facts.row(
        "loom",
        f"{plural(counts.connectors, 'connector')}, {plural(counts.wires, 'wire')}, "
        f"{plural(counts.nets, 'net')}; {tested} of {plural(counts.cavities, 'cavity', 'cavities')} tested",
    )
    facts.row("found", f"{plural(counts.faults, 'fault')}, {plural(counts.notes, 'note')}")
    facts.row("bench", bench_text(document))
    facts.row("asked", asked(counts, document.bench.address))
    if said := averaged(document):
        facts.row("read", said)
    if learned := capacitance(document):
        facts.row("farads", learned)
    facts.row("run", f"{document.run}, {when(document.started)} to {when(document.ended)}")
    if bench.simulated:
        facts.row("note", "the bench was simulated: this says nothing of a real loom")
    nearest = worst(document, 1)
    if nearest:
        claim, room = nearest[0]
        left = f"{room:.0%} left" if room >= 0 else "beyond it"
        if claim.decision.value == "undecided":
            left = f"not decided, shown under {ohms(claim.bound_ohm)}"
        measured = uncertain(claim.measured_ohm, claim.uncertainty_ohm)
        facts.row("nearest", f"{claim.subject}: {measured}, limit {ohms(claim.limit_ohm)}, {left}")
    lines.append(facts.table)
    if document.coverage.untested:
        lines.append(_listed("Not tested, no point on it:", document.coverage.untested))
    if document.coverage.waived:
        lines.append(_listed("Waived by name:", document.coverage.waived))
    if document.not_tested:
        lines.append(Text("Not tested:", style="bold"))
        lines += [_bullet(text) for text in document.not_tested]
    if cautions:
        lines += [Text(clean(f"Caution: {text}"), style="yellow") for text in document.cautions]
    return Group(*lines)


def findings_view(document: Document) -> RenderableType:
    """Show every finding; says so where there is none."""
    if not document.findings:
        return Text("No faults found.")
    shown: list[RenderableType] = [
        Text.assemble(("One place, ", "bold"), clean(said)) for said in shared_places(document)
    ]
    for number, finding in enumerate(document.findings, 1):
        if shown:
            shown.append(Text(""))
        shown.append(finding_view(finding, number, document.connectors, text_rulers(document, finding)))
    return Group(*shown)


def finding_view(
    finding: Finding,
    number: int,
    connectors: Sequence[ConnectorEntry] = (),
    on_wires: Sequence[str] = (),
) -> RenderableType:
    """Show one finding: what, where, wire and colour, evidence, where to look, how to mend it.

    ``connectors`` are those of the loom: the faces of those that the finding names are drawn. ``on_wires``
    show its place on its wires to scale.
    """
    fault = finding.severity.value == "fault"
    head = Text.assemble(
        (f"{number}. {'fault' if fault else 'note'}", "bold red" if fault else "bold yellow"),
        ": ",
        (clean(finding.title), "bold"),
    )
    facts = _Facts()
    if finding.cavities:
        facts.row("where", ", ".join(map(str, finding.cavities)))
    if finding.wires:
        facts.row("wire", ", ".join(wires(finding)))
    if finding.components:
        facts.row("part", ", ".join(finding.components))
    facts.row("cause", cause(finding))
    for entry in finding.evidence:
        facts.row("evidence", evidence(entry))
    if finding.place is not None:
        facts.row("place", place_in_brief(finding.place, finding.kind.value))
    for drawn in on_wires:
        facts.row("", drawn)
    for order, place in enumerate(finding.places, 1):
        facts.row("look" if order == 1 else "", f"{order}. {place}")
    for face in _faces(finding, connectors):
        facts.table.add_row("face", face)
    for order, step in enumerate(finding.repair):
        facts.row("repair" if order == 0 else "", step)
    for caution in finding.cautions:
        facts.row("caution", caution, "yellow")
    for other in finding.alternatives:
        apart = f" To tell apart: {other.tell_apart}" if other.tell_apart else ""
        facts.row("or", f"{other.text}.{apart}")
    return Group(head, Padding(facts.table, (0, 0, 0, 2)))


MOST_FACES = 3
"""So many connector faces are drawn with a finding; where more are named, the place in the row must do."""


@dataclass(frozen=True)
class _Face:
    """A connector's face in characters, for whatever width there is: no cavity is ever cut off or hidden.

    A row that is wider goes on in the line below; such a line ends in three dots.
    """

    name: str
    rows: tuple[tuple[str, ...], ...]
    marked: frozenset[str]

    @property
    def wide(self) -> int:
        """Columns of one cavity."""
        return 2 + max(cell_len(clean(cavity)) for row in self.rows for cavity in row)

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        """Say from one cavity in a line to the longest row in one."""
        return Measurement(self.wide + len(_GOES_ON), self.wide * max(map(len, self.rows)))

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw it."""
        yield Text(f"{clean(self.name)}, from the mating side")
        for row in self.rows:
            most = max(1, (options.max_width - len(_GOES_ON)) // self.wide)
            lines = 1 if len(row) * self.wide <= options.max_width else math.ceil(len(row) / most)
            across = math.ceil(len(row) / lines)  # a row that is cut is cut evenly, as it is on paper
            for at in range(0, len(row), across):
                yield self._line(row[at : at + across], goes_on=at + across < len(row))

    def _line(self, cavities: Sequence[str], *, goes_on: bool) -> Text:
        line = Text(overflow="fold")
        for cavity in cavities:
            name = clean(cavity)
            name = " " * (self.wide - 2 - cell_len(name)) + name
            here = cavity in self.marked
            line.append(f"[{name}]" if here else f" {name} ", "bold red" if here else "")
        return line.append(_GOES_ON if goes_on else "")


_GOES_ON = " …"


def _faces(finding: Finding, connectors: Sequence[ConnectorEntry]) -> Iterator[_Face]:
    """Yield the faces of the connectors that a finding names, its cavities in brackets."""
    marked = set(finding.cavities)
    named = [
        entry
        for entry in connectors
        if sum(map(len, entry.rows)) > 1
        and any(End(entry.name, cavity) in marked for row in entry.rows for cavity in row if cavity)
    ]
    for entry in named if len(named) <= MOST_FACES else ():
        here = frozenset(end.cavity for end in marked if end.connector == entry.name)
        yield _Face(entry.name, entry.rows, here - {""})


class _Facts:
    """Two columns: what, and the fact. Texts are shown as they are, never as markup."""

    def __init__(self) -> None:
        self.table = Table.grid(padding=(0, 2))
        self.table.add_column(style="dim", no_wrap=True)
        self.table.add_column(overflow="fold")

    def row(self, what: str, fact: str, style: str = "") -> None:
        self.table.add_row(what, Text(clean(fact), style=style))


def _listed(head: str, ends: tuple[End, ...]) -> RenderableType:
    return Group(Text(head, style="bold"), Padding(Text(clean(", ".join(map(str, ends)))), (0, 0, 0, 2)))


def _bullet(text: str) -> RenderableType:
    grid = Table.grid(padding=(0, 1))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    grid.add_row("  -", Text(clean(text)))
    return grid
