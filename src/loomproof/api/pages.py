"""What a notebook shows of looms, plans, proofs, findings and sheets: plain tables, every text escaped."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from html import escape

from loomproof.jobs.job import Proof
from loomproof.jobs.plan import PlannedProof
from loomproof.jobs.plugging import runs
from loomproof.loom.model import ConnectorKind, Loom
from loomproof.loom.summary import summary_of
from loomproof.notebook import page
from loomproof.planning.explain_pair import Explanation
from loomproof.planning.hookup_plan import HookUpPlan
from loomproof.planning.reach import reach_of
from loomproof.reports import words
from loomproof.reports.words import clean, plural
from loomproof.results.document import Document
from loomproof.results.figures import ohms
from loomproof.results.findings import Finding, Findings
from loomproof.results.fitting import SafeRow, Sheet, SheetEnd

_CELL = 'style="text-align:left;vertical-align:top;padding:0 1em 0 0"'
_FIGURE = 'style="text-align:right;vertical-align:top;padding:0 1em 0 0"'

Row = Sequence[object]


def text(value: object) -> str:
    """Return a text for a page: escaped, with a mark for what cannot be shown."""
    return escape(clean(str(value)))


def table(caption: str, heads: Sequence[str], rows: Iterable[Row], figures: Sequence[str] = ()) -> str:
    """Return a table of texts, "" where it has no rows; columns named in ``figures`` stand to the right."""
    body = [
        "<tr>"
        + "".join(_cell(head, value, figures) for head, value in zip(heads, row, strict=True))
        + "</tr>"
        for row in rows
    ]
    if not body:
        return ""
    head = "".join(f'<th scope="col" {_style(head, figures)}>{text(head)}</th>' for head in heads)
    return f"{_title(caption)}<table><thead><tr>{head}</tr></thead><tbody>{''.join(body)}</tbody></table>"


def _cell(head: str, value: object, figures: Sequence[str]) -> str:
    return f"<td {_style(head, figures)}>{text(value)}</td>"


def _style(head: str, figures: Sequence[str]) -> str:
    return _FIGURE if head in figures else _CELL


def facts(caption: str, rows: Iterable[tuple[str, str]]) -> str:
    """Return a table of names and what is said under each, those without a text left out."""
    body = "".join(
        f'<tr><th scope="row" {_CELL}>{text(name)}</th><td {_CELL}>{text(said)}</td></tr>'
        for name, said in rows
        if said
    )
    return f"{_title(caption)}<table><tbody>{body}</tbody></table>"


def _title(said: str) -> str:
    # A caption would be no wider than its table.
    return f"<p><b>{text(said)}</b></p>"


def lines(title: str, said: Iterable[str]) -> str:
    """Return a list with its title, "" where nothing is said."""
    items = "".join(f"<li>{text(line)}</li>" for line in said)
    return f"{_title(title)}<ul>{items}</ul>" if items else ""


def _of(parts: Iterable[str]) -> str:
    return f"<div>{''.join(parts)}</div>"


@page(Loom)
def loom_page(loom: Loom) -> str:
    """Return a loom: what it is, its connectors and its wires."""
    found = summary_of(loom)
    count = ", ".join(
        (
            plural(found.connectors, "connector"),
            plural(found.cavities, "cavity", "cavities"),
            plural(found.wires, "wire"),
            plural(found.components, "component"),
        )
    )
    return _of(
        (
            facts(
                loom.name,
                (
                    ("serial", loom.serial),
                    ("description", loom.description),
                    ("holds", count),
                    ("left out", "; ".join(found.missing)),
                ),
            ),
            table(
                "Connectors",
                ("connector", "kind", "cavities", "hazard", "where"),
                (
                    (each.name, each.kind.value, len(each.cavities), each.hazard.value, each.location)
                    for each in loom.connectors
                    if each.kind is not ConnectorKind.SPLICE
                ),
                ("cavities",),
            ),
            table(
                "Wires",
                ("wire", "from", "to", "colour", "mm²", "m", "circuit"),
                (
                    (
                        each.name,
                        each.a,
                        each.b,
                        each.colour,
                        _figure(each.csa_mm2),
                        _figure(each.length_m),
                        each.circuit,
                    )
                    for each in loom.wires
                ),
                ("mm²", "m"),
            ),
        )
    )


def _figure(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


@page(Explanation)
def explanation_page(found: Explanation) -> str:
    """Return how the limit of a pair comes about."""
    between = found.between
    limit = ohms(between.limit_ohm) if found.same_net else ""
    return _of(
        (
            facts(
                f"{between.a} to {between.b}",
                (
                    ("a sound loom reads", ohms(between.expected_ohm)),
                    ("at most, while sound", ohms(between.sound_ohm) if found.joined else ""),
                    ("limit", limit),
                    ("sense", f"{between.b} reads {found.reads} while {between.a} is driven"),
                    ("copper at", f"{found.temperature_c:g} °C"),
                ),
            ),
            table(
                "On the way",
                ("part", "from", "to", "m", "expected", "at most", "current"),
                (
                    (
                        step.name,
                        step.start,
                        step.stop,
                        _figure(step.length_m or None),
                        ohms(step.nominal_ohm),
                        ohms(step.greatest_ohm),
                        f"{step.share:.0%}",
                    )
                    for step in found.steps
                ),
                ("m", "expected", "at most", "current"),
            ),
        )
    )


@page(PlannedProof)
def plan_page(planned: PlannedProof) -> str:
    """Return a plan: how much is asked, each reading with its limit, and what is not tested."""
    made = planned.plan
    reach = reach_of(made)
    read = [
        (
            r.a,
            r.b,
            ohms(r.expected_ohm),
            ohms(r.limit_ohm),
            "within its limit" if r.decided else f"under {ohms(r.shown_ohm)}",
        )
        for r in made.conductors
    ]
    parts = [
        (p.part.component, p.part.a, p.part.b, ohms(p.lower_ohm), ohms(p.upper_ohm))
        for p in made.parts
        if not p.part.forward_v
    ]
    parts += [(p.part.component, p.part.a, p.part.b, "one way", "") for p in made.parts if p.part.forward_v]
    isolation = "" if made.isolation_ohm is None else f"above {ohms(made.isolation_ohm)}"
    return _of(
        (
            facts(
                f"Plan of a proof: {planned.saved.loom}",
                (
                    ("cavities", str(made.scope.points.bit_count())),
                    ("nets", str(len(made.scope.groups))),
                    ("senses", str(len(made.vectors))),
                    ("isolation in ohms", isolation or "not measured"),
                    ("a sound loom reaches", f"grade {reach.grade}"),
                ),
            ),
            table(
                "Conductors",
                ("from", "to", "sound", "limit", "a sound one is shown"),
                read,
                ("sound", "limit"),
            ),
            table("Parts", ("part", "from", "to", "least", "most"), parts, ("least", "most")),
            lines("Wires whose open no reading shows", made.hidden),
            lines("Parts that are not measured", made.unmeasured_parts),
            lines("Cavities without a point", map(str, made.scope.untested)),
            lines("Not tested", (problem.message for problem in planned.warnings)),
        )
    )


@page(HookUpPlan)
def hook_ups_page(planned: HookUpPlan) -> str:
    """Return hook-ups in their order: what is taken off, put on and left."""

    def rows() -> Iterator[Row]:
        for number, hook_up in enumerate(planned.hook_ups, 1):
            for name in hook_up.off:
                yield number, "take off", name, ""
            for unit in hook_up.units:
                what = "put on" if unit.name in hook_up.new else "leave"
                yield number, what, unit.name, runs([hook_up.point_of[end] for end in unit.ends])

    count = plural(len(planned.hook_ups), "hook-up")
    least = "no plan has fewer" if planned.optimal else f"a plan of {planned.bound} is not ruled out"
    title = f"{count} on {planned.points} points, {plural(planned.plug_ins, 'plug')} put on in all; {least}"
    return _of((table(title, ("hook-up", "what", "plug", "points"), rows()),))


@page(Finding)
def finding_page(finding: Finding) -> str:
    """Return a finding: where, on which evidence, how it is mended, and what else it may be."""
    others = [
        f"{other.text}. {other.tell_apart}".strip() if other.tell_apart else other.text
        for other in finding.alternatives
    ]
    return _of(
        (
            facts(
                f"{finding.severity.value}: {finding.title}",
                (
                    ("kind", words.kind(finding.kind.value)),
                    ("cause", words.cause(finding)),
                    ("where", ", ".join(map(str, finding.cavities))),
                    ("wires", ", ".join(words.wires(finding))),
                    ("parts", ", ".join(finding.components)),
                ),
            ),
            lines("Evidence", map(words.evidence, finding.evidence)),
            lines("Look", finding.places),
            lines("Repair", finding.repair),
            lines("Caution", finding.cautions),
            lines("Or", others),
        )
    )


@page(Findings)
def findings_page(found: Findings) -> str:
    """Return findings one below the other; that there is none is said."""
    return _of(map(finding_page, found)) if found else f"<p>{text('nothing was found')}</p>"


@page(Document)
def document_page(document: Document) -> str:
    """Return a proof: verdict and grade, how much was tested, each finding, the nearest limits, the rest."""
    counts = document.counts
    nearest = [
        (
            claim.subject,
            words.uncertain(claim.measured_ohm, claim.uncertainty_ohm),
            ohms(claim.own_limit_ohm),
            claim.decision.value,
        )
        for claim, _ in words.worst(document, 5)
    ]
    tested = len(document.coverage.tested)
    return _of(
        (
            facts(
                words.headline(document.verdict.value, document.grade, document.grade_text),
                (
                    ("loom", " ".join(filter(None, (document.loom.name, document.loom.serial)))),
                    ("tested", f"{tested} of {counts.cavities} cavities"),
                    ("found", f"{plural(counts.faults, 'fault')}, {plural(counts.notes, 'note')}"),
                    ("asked", words.asked(counts, document.bench.address)),
                    ("run", f"{document.run}, {words.when(document.started)}"),
                    ("bench", document.bench.address),
                    ("note", "the bench was simulated" if document.bench.simulated else ""),
                ),
            ),
            lines("Because", words.reasons(document)),
            *map(finding_page, document.findings),
            table(
                "Nearest to a limit",
                ("from, to", "measured (k = 2)", "limit", "decision"),
                nearest,
                ("measured (k = 2)", "limit"),
            ),
            lines("Not tested", document.not_tested),
        )
    )


@page(Proof)
def proof_page(proof: Proof) -> str:
    """Return a proof as its document is shown."""
    return document_page(proof.document)


@page(Sheet)
def sheet_page(sheet: Sheet) -> str:
    """Return a fitting sheet: warnings on top, what to connect and make safe, drops, earths, questions."""
    ready = "ready" if sheet.ready else "not ready"
    return _of(
        (
            facts(
                f"Fitting sheet: {sheet.loom}, {ready}",
                (
                    ("serial", sheet.serial),
                    ("banner", sheet.banner),
                    ("proof", sheet.proof),
                    ("answers", ", ".join(f"{name}: {said}" for name, said in sheet.answers)),
                ),
            ),
            table("Warnings", ("level", "what"), ((w.level.value, w.text) for w in sheet.warnings)),
            table(
                "Connect, in this order",
                ("order", "job", *_END, "goes to", "check"),
                ((r.order, r.job.value, *_end(r.facts), r.goes_to, r.check) for r in sheet.connect),
                ("order",),
            ),
            table("Make safe", (*_END, "do", "why"), map(_safe, sheet.safe)),
            table("Places of fuses and relays", (*_END, "do", "why"), map(_safe, sheet.places)),
            table(
                "Voltage drop",
                ("circuit", "side", "current", "drop", "limit", "basis", "decision"),
                (
                    (
                        row.circuit,
                        row.side,
                        f"{row.current_a:g} A",
                        f"{row.drop_v:.3f} ± {row.uncertainty_v:.3f} V",
                        f"{row.limit_v:g} V",
                        row.basis,
                        row.decision,
                    )
                    for row in sheet.drops
                ),
                ("current", "drop", "limit"),
            ),
            table(
                "Earth points",
                ("end", "current", "circuits", "remark"),
                ((r.end, f"{r.current_a:g} A", ", ".join(r.circuits), r.remark) for r in sheet.earths),
                ("current",),
            ),
            lines("Questions", sheet.questions),
            lines("First power-up", sheet.power_up),
            lines("Caution", sheet.cautions),
            lines("Not checked", sheet.not_checked),
        )
    )


_END = ("end", "wire", "circuit", "live")


def _end(facts: SheetEnd) -> tuple[str, str, str, str]:
    size = "" if facts.csa_mm2 is None else f"{facts.csa_mm2:g} mm²"
    wire = " ".join(filter(None, (facts.colour, size)))
    circuit = " ".join(filter(None, (facts.circuit, facts.designation, facts.meaning)))
    return str(facts.end), wire, circuit, "; ".join(facts.live)


def _safe(row: SafeRow) -> Row:
    optional = " (this conversion may connect it)" if row.optional else ""
    return *_end(row.facts), row.action.value + optional, row.why
