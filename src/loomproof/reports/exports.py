"""Tables for other programs: CSV, XLSX, Parquet, and JUnit XML for build servers."""

from __future__ import annotations

import csv
import datetime
import io
import re
import xml.etree.ElementTree as ElementTree
from typing import TYPE_CHECKING, Any

from loomproof.errors import UsageError
from loomproof.reports.words import evidence, graded
from loomproof.results.document import Document

if TYPE_CHECKING:
    import pandas as pd
    from openpyxl import Workbook

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def guarded(text: str) -> str:
    """Return a cell's text with an apostrophe before what a spreadsheet would take for a formula.

    The advice of the OWASP page on CSV injection: a cell that begins with ``= + - @``, tab or line break.
    """
    return "'" + text if text.startswith(_FORMULA) else text


def table_bytes(table: pd.DataFrame, suffix: str) -> bytes:
    """Return a table as ``.csv``, ``.xlsx`` or ``.parquet``; every text stays text in all of them."""
    if suffix == ".csv":
        return _csv(table)
    if suffix == ".xlsx":
        return _xlsx(table)
    if suffix == ".parquet":
        return _parquet(table)
    raise UsageError(f"{suffix}: tables are written as .csv, .xlsx or .parquet")


def _csv(table: pd.DataFrame) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow(table.columns)
    for row in table.itertuples(index=False):
        writer.writerow([_written(cell) for cell in row])
    # With a byte order mark, or spreadsheets take Ω for something else.
    return out.getvalue().encode("utf-8-sig")


def _written(cell: object) -> object:
    if isinstance(cell, str):
        return guarded(cell)
    return cell.isoformat() if isinstance(cell, datetime.datetime) else cell


def _xlsx(table: pd.DataFrame) -> bytes:
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "loomproof"
    fill(sheet, table)
    return saved(book)


def saved(book: Workbook) -> bytes:
    """Return a workbook as a file's bytes."""
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def fill(sheet: Any, table: pd.DataFrame) -> None:
    """Write a table on a sheet: headings that stay, columns as wide as what is in them, times as times.

    A workbook knows no zones: its times are UTC, and the headings say so.
    """
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    sheet.freeze_panes = "A2"
    heads = [
        f"{name} UTC" if str(kind).startswith("datetime") else str(name)
        for name, kind in table.dtypes.items()
    ]
    widths = [len(head) for head in heads]
    for y, row in enumerate([tuple(heads), *table.itertuples(index=False)], 1):
        for x, value in enumerate(row, 1):
            cell = sheet.cell(y, x)
            if isinstance(value, str):
                cell.value = ILLEGAL_CHARACTERS_RE.sub("\ufffd", value)
                # A text is a text, also one that begins with an equals sign.
                cell.data_type = "s"
                length = max(map(len, value.splitlines()), default=0)
            elif isinstance(value, datetime.datetime):
                cell.value = value.astimezone(datetime.UTC).replace(tzinfo=None)
                cell.number_format = "yyyy-mm-dd hh:mm:ss"
                length = 19
            else:
                whole = hasattr(value, "__index__") and not isinstance(value, bool)
                cell.value = int(value) if whole else value
                length = len(str(value))
            widths[x - 1] = max(widths[x - 1], length)
            if y == 1:
                cell.font = Font(bold=True)
            cell.alignment = Alignment(vertical="top", wrap_text=length > WIDEST)
    for place, width in enumerate(widths, 1):
        sheet.column_dimensions[get_column_letter(place)].width = min(width, WIDEST) + 2
    if heads:
        sheet.auto_filter.ref = f"A1:{get_column_letter(len(heads))}{len(table) + 1}"


WIDEST = 60
"""How wide a column of a workbook becomes at most, in letters; a longer text is folded."""


def _parquet(table: pd.DataFrame) -> bytes:
    out = io.BytesIO()
    table.to_parquet(out, engine="pyarrow", index=False)
    return out.getvalue()


def junit_xml(documents: list[Document]) -> bytes:
    """Return proofs as JUnit XML: a suite for each run, a case for each claim and each finding.

    A failing claim or fault is a failure, an undecided claim or untested cavity is skipped. No standard
    rules this format; elements and attributes are those that build servers commonly read.
    """
    root = ElementTree.Element("testsuites", name="loomproof")
    for document in documents:
        name = f"{document.loom.name} {document.loom.serial}".strip()
        suite = ElementTree.SubElement(root, "testsuite", name=_xml(name), timestamp=_xml(document.started))
        suite.set("id", _xml(document.run))
        properties = ElementTree.SubElement(suite, "properties")
        for what, value in (
            ("verdict", document.verdict.value),
            ("grade", graded(document)),
            ("grade demanded", document.grade_demanded or ""),
            ("meter checked", document.meter_check),
            ("serial", document.loom.serial),
            ("person", document.person),
            ("place", document.place),
            ("simulated", "yes" if document.bench.simulated else "no"),
        ):
            ElementTree.SubElement(properties, "property", name=what, value=_xml(value))
        for claim in document.claims:
            case = _case(suite, f"{claim.kind}: {claim.subject}", name)
            if claim.decision.value == "fail":
                ElementTree.SubElement(case, "failure", message=_xml(claim.statement), type=claim.kind)
            elif claim.decision.value == "undecided":
                ElementTree.SubElement(case, "skipped", message=_xml(f"undecided: {claim.statement}"))
        for finding in document.findings:
            case = _case(suite, f"finding: {finding.title}", name)
            if finding.severity.value == "fault":
                failure = ElementTree.SubElement(
                    case, "failure", message=_xml(finding.title), type=finding.kind.value
                )
                lines = [*(evidence(entry) for entry in finding.evidence), *finding.repair]
                failure.text = _xml("\n".join(lines))
        for cavity in document.coverage.untested:
            ElementTree.SubElement(
                _case(suite, f"cavity: {cavity}", name), "skipped", message="no test point on it"
            )
        suite.set("tests", str(len(suite.findall("./testcase"))))
        suite.set("failures", str(len(suite.findall("./testcase/failure"))))
        suite.set("skipped", str(len(suite.findall("./testcase/skipped"))))
        suite.set("errors", "0")
    ElementTree.indent(root)
    made: bytes = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    return made + b"\n"


def _case(suite: ElementTree.Element, name: str, loom: str) -> ElementTree.Element:
    return ElementTree.SubElement(suite, "testcase", name=_xml(name), classname=_xml(loom))


def _xml(text: str) -> str:
    return _NOT_XML.sub("\ufffd", text)
