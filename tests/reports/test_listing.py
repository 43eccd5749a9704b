"""Lists and paragraphs on a screen of any width: all of it there, nothing cropped, no figure without unit."""

from __future__ import annotations

import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console, RenderableType

from loomproof.reports.listing import Cell, Column, Listing, Paragraph, folded

WIDTHS = (40, 60, 80, 120)
RUNS = Listing(
    (Column("run"), Column("ended"), Column("verdict", whole=True), Column("loom"), Column("by")),
    (
        (
            "20261125-212225-1d620b",
            "2026-11-25 21:22",
            Cell("UNDECIDED (12)", "yellow"),
            "Brackenfell hill-climb loom, TRN-0417",
            "Ottoline Marchbanks",
        ),
        ("20261125-212226-7dffab (correction)", "2026-11-25 21:22", Cell("PASS", "green"), "Tern", "Mia"),
    ),
)


def shown(what: RenderableType, width: int) -> list[str]:
    """Return the lines on a screen of this width; rich's own console is what crops."""
    file = io.StringIO()
    Console(file=file, width=width, highlight=False).print(what)
    return file.getvalue().splitlines()


def cells(listing: Listing) -> list[str]:
    return [cell if isinstance(cell, str) else cell.text for row in listing.rows for cell in row]


@pytest.mark.parametrize("width", WIDTHS)
def test_a_list_shows_all_of_it_at_any_width(width: int) -> None:
    lines = shown(RUNS, width)
    assert all(cell_len(line) <= width for line in lines)
    text = " ".join(lines)
    for word in " ".join(cells(RUNS)).split():
        assert word in text
    assert "UNDECIDED (12)" in text


def test_a_narrow_screen_has_a_block_for_each_row() -> None:
    assert shown(RUNS, 40)[:7] == [
        "20261125-212225-1d620b",
        "  ended    2026-11-25 21:22",
        "  verdict  UNDECIDED (12)",
        "  loom     Brackenfell hill-climb loom,",
        "           TRN-0417",
        "  by       Ottoline Marchbanks",
        "20261125-212226-7dffab (correction)",
    ]
    assert shown(RUNS, 120)[0].split() == ["run", "ended", "verdict", "loom", "by"]


def test_a_list_without_rows_is_its_headings() -> None:
    assert shown(Listing((Column("a"), Column("b", figure=True)), ()), 40) == ["a  b", "────"]


def test_figures_stand_under_one_another() -> None:
    listing = Listing((Column("joint"), Column("last", figure=True)), (("A", "4.77 Ω"), ("B", "40.6 mΩ")))
    assert shown(listing, 40)[2:] == ["A       4.77 Ω", "B      40.6 mΩ"]


@pytest.mark.parametrize(
    "unit", ["Ω", "mΩ", "kΩ", "MΩ", "m", "mm²", "V", "mV", "A", "°C", "K", "ms", "Hz", "µF"]
)
def test_a_figure_is_not_parted_from_its_unit(unit: str) -> None:
    text = f"a sound loom reads 44.1 {unit}, and no more than 106 {unit} at most"
    for width in range(9, 60):
        lines = folded(text, width)
        assert " ".join(lines) == text
        assert not any(re.search(r"\d$", line) for line in lines)


def test_a_name_of_two_words_is_broken_where_it_must_be() -> None:
    """No unit stands behind a bare word, and none is the start of a longer one."""
    assert folded("ECU 3 mates", 6) == ("ECU 3", "mates")
    assert folded("", 5) == ("",)
    assert folded("長い名前のコネクタ", 6) == ("長い名", "前のコ", "ネクタ")


def test_a_paragraph_sets_its_later_lines_in() -> None:
    said = Paragraph("at most 44.5 mΩ, all wires at their greatest", "  sound  ", " " * 9)
    assert shown(said, 30) == [
        "  sound  at most 44.5 mΩ, all",
        "         wires at their",
        "         greatest",
    ]
    assert shown(Paragraph("nothing [bold]of this[/bold] is markup"), 80) == [
        "nothing [bold]of this[/bold] is markup"
    ]


@given(st.lists(st.tuples(*[st.text("abc 1Ωm長\n\x1b[", max_size=30)] * 3), max_size=4), st.integers(20, 120))
def test_whatever_stands_in_it_no_line_is_too_wide_and_no_sign_is_lost(
    rows: list[tuple[str, str, str]], width: int
) -> None:
    listing = Listing(
        (Column("first"), Column("second", whole=True), Column("third", figure=True)), tuple(rows)
    )
    lines = shown(listing, width)
    assert all(cell_len(line) <= width for line in lines)
    for sign in "b1Ω長[":  # which no heading has
        assert sum(line.count(sign) for line in lines) == sum(
            cell.count(sign) for row in rows for cell in row
        )
