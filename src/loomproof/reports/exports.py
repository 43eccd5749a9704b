"""Tables for other programs: CSV, XLSX, Parquet, and JUnit XML for build servers."""

from __future__ import annotations

import csv
import importlib.util
import io
import re
import xml.etree.ElementTree as ElementTree
from typing import TYPE_CHECKING

from loomproof.errors import UsageError
from loomproof.reports.words import evidence, graded
from loomproof.results.document import Document

if TYPE_CHECKING:
    import pandas as pd

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
        writer.writerow([guarded(cell) if isinstance(cell, str) else cell for cell in row])
    # With a byte order mark, or spreadsheets take Ω for something else.
    return out.getvalue().encode("utf-8-sig")


def _xlsx(table: pd.DataFrame) -> bytes:
    from openpyxl import Workbook
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "loomproof"
    sheet.freeze_panes = "A2"
    for y, row in enumerate([tuple(table.columns), *table.itertuples(index=False)], 1):
        for x, value in enumerate(row, 1):
            cell = sheet.cell(y, x)
            if isinstance(value, str):
                cell.value = ILLEGAL_CHARACTERS_RE.sub("\ufffd", value)
                # A text is a text, also one that begins with an equals sign.
                cell.data_type = "s"
            else:
                cell.value = int(value) if hasattr(value, "__index__") else value
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _parquet(table: pd.DataFrame) -> bytes:
    if importlib.util.find_spec("pyarrow") is None:
        raise UsageError("Parquet needs pyarrow", cure="pip install 'loomproof[parquet]'")
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
