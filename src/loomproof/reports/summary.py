"""A span of days on pages and as a workbook: figures, bars of counts, looms, what is open, repairs."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from loomproof.reports.exports import fill, saved
from loomproof.reports.typesetting import typeset
from loomproof.reports.words import clean

if TYPE_CHECKING:
    import pandas as pd

LoomRow = tuple[str, str, str, str, str, str, str, str]
LOOM_HEADS = ("loom", "serial", "first proof", "verdict", "proofs", "last verdict", "last proof", "mended in")
"""What stands in a `LoomRow`."""


@dataclass(frozen=True)
class Page:
    """All that is said, in the order in which it stands.

    ``scope`` and ``figures`` are names with texts; ``faults`` counts by what they are counted; ``weeks`` has
    for each week the first proofs and how many of them were passed; ``mending`` how many took how long.
    """

    title: str
    scope: Sequence[tuple[str, str]]
    figures: Sequence[tuple[str, str]]
    faults: Mapping[str, Sequence[tuple[str, int]]]
    weeks: Sequence[tuple[str, int, int]]
    mending: Sequence[tuple[str, int]]
    looms: Sequence[LoomRow]
    open: Sequence[LoomRow]
    repairs: Sequence[tuple[str, str, str, str, str]]
    notes: Sequence[str]


def summary_pdf(page: Page, made: datetime.datetime) -> bytes:
    """Lay it out on A4. Raises `RecordError` where a page cannot be set."""
    return typeset("summary.typ", {"view": _cleaned({**asdict(page), "heads": LOOM_HEADS})}, {}, made)


def summary_workbook(page: Page, tables: Mapping[str, pd.DataFrame]) -> bytes:
    """Return it as a workbook: a sheet of figures and bars, one of looms, and one for each of the tables."""
    import pandas as pd
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "summary"
    sheet.append([clean(page.title)])
    sheet["A1"].font = Font(bold=True, size=14)
    for name, text in (*page.scope, *page.figures):
        sheet.append([name, clean(text)])
        sheet.cell(sheet.max_row, 2).data_type = "s"
    for note in page.notes:
        sheet.append([note])
    sheet.column_dimensions["A"].width = 36
    sheet.column_dimensions["B"].width = 40
    charts: list[tuple[str, Sequence[str], Sequence[Sequence[str | int]]]] = [
        ("first proofs by week", ("week", "first proofs", "passed"), page.weeks),
        *((name, (name.removeprefix("faults by "), "faults"), rows) for name, rows in page.faults.items()),
        ("time to mend", ("time", "looms"), page.mending),
    ]
    below = sheet.max_row + 2
    for name, heads, rows in charts:
        if rows:
            below = _chart(book, below, name, heads, rows)
    fill(book.create_sheet("looms"), pd.DataFrame(list(page.looms), columns=list(LOOM_HEADS)))
    for name, table in tables.items():
        fill(book.create_sheet(name), table)
    return saved(book)


def _chart(
    book: object, below: int, name: str, heads: Sequence[str], rows: Sequence[Sequence[object]]
) -> int:
    """Put rows on a sheet of their own and bars of them on the first one; return the row under the bars."""
    import pandas as pd
    from openpyxl import Workbook
    from openpyxl.chart import BarChart, Reference

    assert isinstance(book, Workbook)
    sheet = book.create_sheet(name)
    fill(sheet, pd.DataFrame(list(rows), columns=list(heads)))
    bars = BarChart()
    bars.type, bars.title = "bar", name
    bars.add_data(
        Reference(sheet, min_col=2, min_row=1, max_col=len(heads), max_row=len(rows) + 1),
        titles_from_data=True,
    )
    bars.set_categories(Reference(sheet, min_col=1, min_row=2, max_row=len(rows) + 1))
    bars.x_axis.scaling.orientation = "maxMin"  # the first row on top, as in the table
    bars.x_axis.delete = bars.y_axis.delete = False
    bars.y_axis.number_format = "0"
    bars.y_axis.majorGridlines = None
    if len(heads) == 2:
        bars.legend = None
    height = max(4, round(0.7 * len(rows) * (len(heads) - 1) + 2.5))
    bars.height, bars.width = height, 16
    first = book.worksheets[0]
    first.add_chart(bars, f"A{below}")
    return below + 2 * height + 2


def _cleaned(value: object) -> dict[str, object]:
    def each(value: object) -> object:
        if isinstance(value, str):
            return clean(value)
        if isinstance(value, Mapping):
            return [[key, each(part)] for key, part in value.items()]
        return [each(part) for part in value] if isinstance(value, list | tuple) else value

    assert isinstance(value, dict)
    return {key: each(part) for key, part in value.items()}
