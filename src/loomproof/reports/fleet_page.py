"""One page of what very many proofs come to: tables, with pictures beside them; nothing in it from
elsewhere."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape

from loomproof.reports.fleet_pictures import Picture, inline
from loomproof.reports.words import clean


@dataclass(frozen=True)
class Table:
    """A table: its caption, heads, rows of texts, and which columns are figures."""

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    figures: Sequence[str] = ()


@dataclass(frozen=True)
class Section:
    """One question: its heading, sentences, a table and a picture of it, either of which may be missing."""

    heading: str
    said: Sequence[str]
    table: Table | None = None
    picture: Picture | None = None


@dataclass(frozen=True)
class Part:
    """What was proved on real benches, or on simulated ones; ``heading`` is "" where there is nothing
    else."""

    heading: str
    facts: Sequence[tuple[str, str]]
    sections: Sequence[Section]


MOST_BESIDE = 5
"""Columns of a table that stands beside its picture; with more it stands below."""

_STYLE = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 76rem; padding: 1.2rem; color: #1b1b1b; background: #fff;
  font: 1rem/1.45 "DejaVu Sans", "Liberation Sans", Arial, Helvetica, sans-serif; }
h1 { font-size: 1.6rem; margin: 0 0 .3rem; }
h2 { font-size: 1.3rem; margin: 2.2rem 0 .4rem; padding-top: .6rem; border-top: 2px solid #1b1b1b; }
h3 { font-size: 1.08rem; margin: 2rem 0 .3rem; }
p { max-width: 46rem; margin: .35rem 0; }
.source, footer { color: #555; overflow-wrap: anywhere; }
.caution { border-left: 4px solid #D55E00; padding: .1rem 0 .1rem .8rem; }
dl { display: flex; flex-wrap: wrap; gap: .4rem 2.2rem; margin: 1rem 0; }
dl div { display: flex; flex-direction: column-reverse; }
dt { color: #555; } dd { margin: 0; font-size: 1.35rem; font-variant-numeric: tabular-nums; }
.pair { display: flex; flex-wrap: wrap; gap: 1rem 2rem; align-items: flex-start; margin-top: .6rem; }
.pair > figure { flex: 1 1 30rem; } .pair > .rows { flex: 1 1 18rem; } .pair > .wide { flex: 1 1 100%; }
figure { margin: 0; min-width: 0; max-width: 44rem; overflow-x: auto; }
figure svg { display: block; width: 100%; min-width: 26rem; height: auto; }
.rows { min-width: 0; max-width: 100%; overflow-x: auto; }
table { border-collapse: collapse; font-size: .9rem; font-variant-numeric: tabular-nums; }
caption { text-align: left; color: #555; padding-bottom: .25rem; }
th, td { text-align: left; vertical-align: top; padding: .18rem .9rem .18rem 0;
  border-bottom: 1px solid #ddd; }
tbody th { font-weight: normal; min-width: 8.5rem; overflow-wrap: break-word; }
thead th { border-bottom: 1px solid #1b1b1b; }
.figure { text-align: right; white-space: nowrap; }
footer { margin-top: 2.5rem; border-top: 1px solid #ddd; padding-top: .5rem; font-size: .85rem; }
@page { size: A4; margin: 15mm; }
@media print {
  body { max-width: none; padding: 0; font-size: 9.5pt; }
  h2, h3, section > p { break-after: avoid; } figure, tr, dl { break-inside: avoid; }
  thead { display: table-header-group; }
  .pair { display: block; } figure { max-width: 150mm; margin-bottom: .6rem; overflow: visible; }
  .rows { overflow: visible; } h3 { margin-top: 1.3rem; }
}
"""


def fleet_html(title: str, source: str, made: str, caution: str, parts: Sequence[Part], maker: str) -> str:
    """Return the page. All texts are escaped; ``made`` is when it was asked, ``maker`` by what."""
    body = "".join(line for number, part in enumerate(parts, 1) for line in _part(part, f"p{number}"))
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{_text(title)}</title><style>{_STYLE}</style></head><body>\n"
        f'<header><h1>{_text(title)}</h1><p class="source">{_text(source)}, asked {_text(made)}</p>'
        f'<p class="caution">{_text(caution)}</p></header>\n'
        f"<main>\n{body}</main>\n<footer>{_text(maker)}</footer></body></html>\n"
    )


def _part(part: Part, name: str) -> Iterator[str]:
    if part.heading:
        yield f"<h2>{_text(part.heading)}</h2>\n"
    facts = "".join(f"<div><dt>{_text(key)}</dt><dd>{_text(value)}</dd></div>" for key, value in part.facts)
    yield f"<dl>{facts}</dl>\n"
    for number, section in enumerate(part.sections, 1):
        yield f"<section><h3>{_text(section.heading)}</h3>\n"
        yield from (f"<p>{_text(said)}</p>\n" for said in section.said)
        if section.picture is None and section.table is None:
            yield "</section>\n"
            continue
        yield '<div class="pair">\n'
        if section.picture is not None:
            yield f"<figure>{inline(section.picture.svg, f'{name}s{number}')}</figure>\n"
        if section.table is not None:
            wide = " wide" if len(section.table.heads) > MOST_BESIDE else ""
            yield f'<div class="rows{wide}">{_table(section.table)}</div>\n'
        yield "</div></section>\n"


def _table(table: Table) -> str:
    marks = [' class="figure"' if head in table.figures else "" for head in table.heads]
    heads = "".join(
        f'<th scope="col"{mark}>{_text(head)}</th>' for head, mark in zip(table.heads, marks, strict=True)
    )
    rows = "".join(f"<tr>{''.join(_cells(row, marks))}</tr>\n" for row in table.rows)
    return (
        f"<table><caption>{_text(table.caption)}</caption><thead><tr>{heads}</tr></thead>\n"
        f"<tbody>{rows}</tbody></table>"
    )


def _cells(row: Iterable[str], marks: Sequence[str]) -> Iterator[str]:
    for place, (cell, mark) in enumerate(zip(row, marks, strict=True)):
        yield f"<td{mark}>{_text(cell)}</td>" if place else f'<th scope="row"{mark}>{_text(cell)}</th>'


def _text(said: str) -> str:
    return escape(clean(said))
