"""The fitting sheet for people: terminal, CSV and PDF with boxes to tick."""

from __future__ import annotations

import csv
import datetime
import io
import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from loomproof.reports.exports import guarded
from loomproof.reports.typesetting import typeset
from loomproof.reports.words import clean
from loomproof.results.figures import ohms
from loomproof.results.fitting import (
    ConnectRow,
    DropRow,
    EarthRow,
    FuseRow,
    Job,
    Level,
    SafeRow,
    Sheet,
    SheetEnd,
)

if TYPE_CHECKING:
    from rich.console import RenderableType

POWER_UP = "First power-up, in this order; local rules and licensed practice come first"

CSV_COLUMNS = (
    "list", "group", "order", "connector", "cavity", "colour", "csa_mm2", "circuit", "purpose", "designation",
    "meaning", "fuse", "load_a", "live", "action", "goes_to", "check", "done",
)  # fmt: skip


def sheet_csv(sheet: Sheet) -> str:
    """Return every end as one row: lists warning, connect, make safe, own parts."""
    text = io.StringIO()
    writer = csv.DictWriter(text, CSV_COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    if sheet.banner:
        writer.writerow({"list": "banner", "check": guarded(sheet.banner)})
    for warn in sheet.warnings:
        ends = " ".join(map(str, (*warn.ends, *warn.parts)))
        writer.writerow({"list": "warning", "group": warn.level.value, "connector": guarded(ends),
                         "check": guarded(warn.text)})  # fmt: skip
    for row in sheet.connect:
        values = {"list": "connect", "group": row.job.value, "order": str(row.order), "goes_to": row.goes_to,
                  "check": row.check}  # fmt: skip
        writer.writerow({name: guarded(value) for name, value in {**_columns(row.facts), **values}.items()})
    for name, rows in (("make safe", sheet.safe), ("own parts", sheet.places)):
        for safe in rows:
            values = {"list": name, "group": "optional" if safe.optional else "", "action": safe.action.value,
                      "check": safe.why}  # fmt: skip
            writer.writerow(
                {key: guarded(value) for key, value in {**_columns(safe.facts), **values}.items()}
            )
    for question in sheet.questions:
        writer.writerow({"list": "question", "check": guarded(question)})
    for number, step in enumerate(sheet.power_up, 1):
        writer.writerow({"list": "first power-up", "order": str(number), "check": guarded(step)})
    return text.getvalue()


def _columns(facts: SheetEnd) -> dict[str, str]:
    return {
        "connector": facts.end.connector,
        "cavity": facts.end.cavity,
        "colour": facts.colour,
        "csa_mm2": number(facts.csa_mm2),
        "circuit": facts.circuit,
        "purpose": facts.purpose,
        "designation": facts.designation,
        "meaning": facts.meaning,
        "fuse": facts.fuse,
        "load_a": number(facts.load_a),
        "live": "; ".join(facts.live),
    }


def number(value: float | None) -> str:
    """Return a figure as the sheet writes it; "" for none."""
    return "" if value is None else f"{value:g}"


def views(sheet: Sheet) -> Iterator[RenderableType]:
    """Yield the sheet for a terminal: banner and warnings on top, then the lists and the checks."""
    from loomproof.reports.listing import Paragraph

    yield Paragraph(f"Fitting sheet: {_name(sheet)}", style="bold")
    if sheet.banner:
        yield Paragraph(sheet.banner, style="bold white on red")
    elif sheet.ready:
        yield Paragraph("ready to be fitted, row by row", style="green")
    yield Paragraph(f"proof: {sheet.proof}", later="  ")
    for choice, answer in sheet.answers:
        yield Paragraph(f"answer: {choice}={answer}", later="  ")
    for warn in sheet.warnings:
        style = {Level.DANGER: "bold red", Level.WARNING: "yellow"}.get(warn.level, "")
        yield Paragraph(f"{warn.level.value.upper()}: {warn.text}", later="  ", style=style)
    connect_heads = ("no", "end", "colour", "mm²", "circuit", "fuse", "goes to")
    for job, rows in _by_job(sheet.connect):
        yield from _view(f"Connect: {job.value}", connect_heads, [_connect_cells(row) for row in rows])
    for title, heads, cells in _tables(sheet):
        yield from _view(title, heads, cells)
    for title, texts in (
        ("Loads without a voltage drop", sheet.left_out),
        ("Ask before fitting: the description is silent", sheet.questions),
        *_notes(sheet),
    ):
        if texts:
            yield ""
            yield Paragraph(title, style="bold")
        for text in texts:
            yield Paragraph(text, "- ", "  ")
    yield ""
    yield Paragraph(POWER_UP, style="bold")
    for number, text in enumerate(sheet.power_up, 1):
        yield Paragraph(text, f"{number}. ", "    ")


def _tables(sheet: Sheet) -> Iterator[tuple[str, tuple[str, ...], list[tuple[str, ...]]]]:
    yield "Make safe", ("end", "colour", "circuit", "do", "why"), [_safe_cells(row) for row in sheet.safe]
    places = [_safe_cells(row) for row in sheet.places]
    yield "Fuses and relays", ("place", "colour", "circuit", "do", "part"), places
    drop_heads = ("circuit", "side", "way", "A", "drop", "limit", "basis", "says")
    yield "Voltage drop with every load on", drop_heads, [_drop_cells(row)[:8] for row in sheet.drops]
    fuse_heads = ("wire", "mm²", "fuse", "continuous", "short circuit")
    yield "Wire and fuse", fuse_heads, [_fuse_cells(row) for row in sheet.fuses]
    yield "Earth points", ("end", "A", "of"), [_earth_cells(row) for row in sheet.earths]


_FIGURES = frozenset({"mm²", "A", "drop", "limit"})


def _view(title: str, heads: tuple[str, ...], rows: list[tuple[str, ...]]) -> Iterator[RenderableType]:
    """Yield a list under its title; nothing where it is empty."""
    from loomproof.reports.listing import Column, Listing

    if rows:
        columns = tuple(Column(head, figure=head in _FIGURES, whole=head == "says") for head in heads)
        yield ""
        yield Listing(columns, tuple(rows), title)


def _earth_cells(row: EarthRow) -> tuple[str, ...]:
    return (row.end, f"{row.current_a:g}", ", ".join(row.circuits))


def _name(sheet: Sheet) -> str:
    return f"{sheet.loom}, {sheet.serial}" if sheet.serial else sheet.loom


def _notes(sheet: Sheet) -> list[tuple[str, tuple[str, ...]]]:
    return [
        ("For licensed or experienced people", sheet.experienced),
        ("Cautions", sheet.cautions),
        ("Not checked", sheet.not_checked),
    ]


def _by_job(rows: Iterable[ConnectRow]) -> Iterator[tuple[Job, list[ConnectRow]]]:
    rows = list(rows)
    for job in Job:
        own = [row for row in rows if row.job is job]
        if own:
            yield job, own


def _connect_cells(row: ConnectRow) -> tuple[str, ...]:
    facts = row.facts
    circuit = f"{facts.circuit} ({facts.designation})" if facts.designation else facts.circuit
    return (
        str(row.order),
        str(facts.end),
        facts.colour,
        number(facts.csa_mm2),
        circuit,
        facts.fuse,
        row.goes_to,
    )


def _safe_cells(row: SafeRow) -> tuple[str, ...]:
    optional = "optional: connect it, or " if row.optional else ""
    facts = row.facts
    return (str(facts.end), facts.colour, facts.circuit, f"{optional}{row.action.value}", row.why)


def _with_spares_together(rows: Iterable[SafeRow]) -> Iterator[tuple[str, ...]]:
    """Yield the cells of rows for paper; cavities of one connector that hold nothing stand in one row."""
    spare: dict[tuple[str, str, str], list[SafeRow]] = {}
    rows = list(rows)
    for row in rows:
        if not (row.facts.colour or row.facts.circuit):
            spare.setdefault((row.facts.end.connector, row.action.value, row.why), []).append(row)
    for row in rows:
        alike = spare.get((row.facts.end.connector, row.action.value, row.why), [])
        if row not in alike or len(alike) == 1:
            yield _pdf_safe(row)
        elif row is alike[0]:
            cells = _pdf_safe(row)
            others = ", ".join(each.facts.end.cavity for each in alike)
            yield f"{row.facts.end.connector}: {others}", *cells[1:]


def drop_words(drop_v: float, u_v: float) -> str:
    """Return a voltage drop with its uncertainty, to one last place: ``0.362 ± 0.068 V``, ``4.71 ± 0.19 V``.

    The uncertainty is rounded up (GUM 7.2.6 allows it): one that is there is never said to be nothing.
    """
    places = 2 if u_v >= 0.1 else 3
    return f"{drop_v:.{places}f} ± {math.ceil(u_v * 10**places - 1e-9) / 10**places:.{places}f} V"


def _drop_cells(row: DropRow) -> tuple[str, ...]:
    return (
        row.circuit,
        row.side,
        row.path,
        f"{row.current_a:g}",
        drop_words(row.drop_v, row.uncertainty_v),
        f"{row.limit_v:g} V",
        row.basis,
        {"pass": "within", "fail": "above"}.get(row.decision, row.decision),
        row.limit_source,
        f"{ohms(row.resistance_ohm)}; {row.remark}".rstrip("; ") + ".",
    )


def _pdf_drop(row: DropRow) -> list[str]:
    """Return the cells of a drop for paper: what is remarked, and whose limit it is, stand below its way."""
    *cells, source, remark = _drop_cells(row)
    return [*cells, f"Limit: {source}. {remark}"]


def _fuse_cells(row: FuseRow) -> tuple[str, ...]:
    return (
        row.wire,
        f"{row.csa_mm2:g}",
        f"{row.fuse} ({row.rating_a:g} A)",
        row.continuous,
        row.short_circuit,
    )


def sheet_pdf(sheet: Sheet) -> bytes:
    """Lay the sheet out on A4 with a box to tick at each row. `RecordError` where the page cannot be set."""
    view: dict[str, object] = {
        "title": f"Fitting sheet: {_name(sheet)}",
        "loom": _name(sheet),
        "digest": sheet.digest[:16],
        "banner": sheet.banner,
        "ready": sheet.ready,
        "proof": sheet.proof,
        "answers": [f"{choice}: {answer}" for choice, answer in sheet.answers],
        "warnings": [[warn.level.value, warn.text] for warn in sheet.warnings],
        "jobs": [
            {"name": job.value, "rows": [[*_pdf_connect(row)] for row in rows]}
            for job, rows in _by_job(sheet.connect)
        ],
        "safe": [[*cells] for cells in _with_spares_together(sheet.safe)],
        "places": [[*_safe_cells(row)] for row in sheet.places],
        "drops": [_pdf_drop(row) for row in sheet.drops],
        "fuses": [[*_fuse_cells(row)] for row in sheet.fuses],
        "earths": [
            [row.end, f"{row.current_a:g} A", ", ".join(row.circuits), row.remark] for row in sheet.earths
        ],
        "left_out": list(sheet.left_out),
        "questions": list(sheet.questions),
        "power_up_title": POWER_UP,
        "power_up": list(sheet.power_up),
        "notes": [{"name": title, "texts": list(texts)} for title, texts in _notes(sheet)],
    }
    moment = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)
    # The date is not the sheet's: the same sheet gives the same bytes.
    return typeset("fitting_sheet.typ", {"view": _cleaned(view)}, {}, moment)


def _pdf_connect(row: ConnectRow) -> tuple[str, ...]:
    facts = row.facts
    load = f", {facts.load_a:g} A" if facts.load_a else ""
    fuse = f", fuse {facts.fuse}" if facts.fuse else ""
    size = f" {facts.csa_mm2:g} mm²" if facts.csa_mm2 else ""
    designation = f" [{facts.designation} {facts.meaning}]" if facts.designation else ""
    return (
        str(row.order),
        str(facts.end),
        f"{facts.colour}{size}",
        f"{facts.purpose or facts.circuit}{designation}{fuse}{load}",
        row.goes_to,
        row.check,
    )


def _pdf_safe(row: SafeRow) -> tuple[str, ...]:
    end, colour, circuit, action, why = _safe_cells(row)
    return (end, colour, row.facts.purpose or circuit, action, why)


def _cleaned(value: object) -> object:
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, dict):
        return {key: _cleaned(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [_cleaned(entry) for entry in value]
    return value
