"""Tables for other programs: texts stay texts, and nothing becomes a formula."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from typing import Any

import openpyxl
import pandas as pd
import pytest

from loomproof.errors import UsageError
from loomproof.records.queries import FoundRow
from loomproof.reports import summary_tables
from loomproof.reports.exports import guarded, junit_xml, table_bytes
from loomproof.results.document import Verdict
from tests.reports.sample import document

# Beginnings that spreadsheets take for formulas, as the OWASP page on CSV injection lists them.
HOSTILE = ["=1+1", "+1", "-1", "@SUM(1)", "\t=1", "\r=1", '=HYPERLINK("http://x")', "=cmd|'/C calc'!A0"]
PLAIN = ["01", "1e5", "ECU:12", "Ω µ –", "", "a=b", "'quoted", "two\nlines"]


def table(texts: list[str]) -> pd.DataFrame:
    return pd.DataFrame({"name": texts, "count": range(len(texts))})


def sheet_of(data: bytes) -> Any:
    return openpyxl.load_workbook(io.BytesIO(data)).active


@pytest.mark.parametrize("text", HOSTILE)
def test_a_formula_in_a_cell_is_written_as_text(text: str) -> None:
    assert guarded(text) == "'" + text
    read = list(csv.reader(io.StringIO(table_bytes(table([text]), ".csv").decode("utf-8-sig"), newline="")))
    assert read[1][0] == "'" + text
    cell = sheet_of(table_bytes(table([text]), ".xlsx"))["A2"]
    assert cell.data_type == "s", "a string, not a formula"
    assert cell.value.replace("_x000D_", "\r") == text


@pytest.mark.parametrize("suffix", [".csv", ".xlsx", ".parquet"])
def test_identifiers_stay_text(suffix: str) -> None:
    data = table_bytes(table(PLAIN), suffix)
    if suffix == ".csv":
        rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))
        found = [row[0] for row in rows[1:]]
    elif suffix == ".xlsx":
        found = [row[0].value or "" for row in sheet_of(data).iter_rows(min_row=2)]
    else:
        read = pd.read_parquet(io.BytesIO(data))
        found = list(read["name"])
        assert list(read["count"]) == list(range(len(PLAIN)))
    assert found == PLAIN


def test_control_characters_do_not_break_a_workbook() -> None:
    data = table_bytes(table(["a\x00b\x1b[2J"]), ".xlsx")
    assert sheet_of(data)["A2"].value == "a\ufffdb\ufffd[2J"


def test_another_ending_is_refused() -> None:
    with pytest.raises(UsageError, match=r"\.csv, \.xlsx or \.parquet"):
        table_bytes(table([]), ".ods")


def test_junit_counts_what_failed_and_what_was_not_tested() -> None:
    failing = document(findings=2, wires=6)
    passing = document(run="p", verdict=Verdict.PASS, name="bad \x00\x0b name <&>")
    root = ElementTree.fromstring(junit_xml([failing, passing]))
    first, second = root.findall("testsuite")
    # Two failing claims and the two findings; the one untested cavity.
    assert (first.get("failures"), first.get("skipped")) == ("4", "1")
    assert int(first.get("tests", "")) == len(first.findall("testcase")) == len(failing.claims) + 3
    assert second.get("failures") == "0"
    assert second.get("name") == "bad \ufffd\ufffd name <&> TL-0007"
    texts = [failure.text or "" for failure in first.iter("failure")]
    assert any("4.73 Ω" in text and "Cut W1 back" in text for text in texts)


ROW = FoundRow(
    "r1", "2026-01-05", "loom", "1", 1, "open", "", "fault", "W1 open", "wire", "W1", "open?wire=W1"
)


def test_faults_are_counted_once_for_each_loom() -> None:
    rows = [
        ROW,
        replace(ROW, what="connector", name="ECU"),
        replace(ROW, what="connector", name="INJ1"),
        replace(ROW, run="r2", title="W1 open, it reads 4.2 MΩ"),  # not mended yet: the same fault again
        replace(ROW, run="r3", serial="2"),
        replace(ROW, run="r4", severity="note", title="just a note", name="W9"),
        replace(
            ROW,
            run="r5",
            kind="wrong_value",
            title="R1",
            what="component",
            name="R1",
            key="wrong_value?part=R1",
        ),
    ]
    found = summary_tables.counts(rows)
    assert found["faults by kind"] == [("open", 2), ("wrong value", 1)]
    assert found["faults by wire"] == [("W1", 2)]
    assert found["faults by connector"] == [("ECU", 1), ("INJ1", 1)]
    assert found["faults by loom"] == [("loom, 1", 2), ("loom, 2", 1)]


def test_nothing_kept_gives_empty_tables() -> None:
    assert summary_tables.counts([]) == {
        "faults by kind": [],
        "faults by connector": [],
        "faults by wire": [],
        "faults by loom": [],
    }
    assert summary_tables.findings_table([]).empty
    assert summary_tables.runs_table([], []).empty


def test_findings_become_one_row_each() -> None:
    rows = [ROW, replace(ROW, what="cavity", name="ECU:1"), replace(ROW, what="cavity", name="INJ1:1")]
    made = summary_tables.findings_table(rows)
    assert len(made) == 1
    assert made.loc[0, "cavities"] == "ECU:1, INJ1:1"
    assert made.loc[0, "wires"] == "W1"
    assert made.loc[0, "connectors"] == ""
