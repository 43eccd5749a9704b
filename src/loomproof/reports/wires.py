"""The wire list of a proof as rows: for paper, for a screen and for other programs."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from loomproof.reports import claims
from loomproof.reports.words import uncertain
from loomproof.results.document import BUT_JOINED, ClaimEntry, Document
from loomproof.results.figures import ohms
from loomproof.results.measured import Decision
from loomproof.results.wires import WireRow, found_somewhere, joined_by_parts, wire_rows

if TYPE_CHECKING:
    import pandas as pd

HEADS = (
    "Wire",
    "Colour",
    "From",
    "To",
    "Claims",
    "Measured (k = 2)",
    "Limit",
    "Shown under",
    "Margin",
    "Decision",
)
"""What the texts of `wire_texts` are, in order."""

MEANING = (
    "Every wire of the description with the claims that cover it. Measured is the reading through it that "
    "says least good of it, a joint's before a part's, other wires on the way included; the decision is the "
    "worst of its claims."
)

END_TO_END = "end to end"
"""A reading from one end of a wire to the other, on paper."""

_NO_CLAIM = "no claim"


def wire_texts(document: Document) -> list[list[str]]:
    """Return one row of texts for each wire, under `HEADS`."""
    return [_texts(row) for row in wire_rows(document)]


class WirePage(NamedTuple):
    """The wire list for paper: words above it, rows of texts, and the claims that its rows tell in full.

    In a ``long`` list each row has what a sound reading is before what was measured.
    """

    said: str
    rows: list[list[str]]
    long: bool = False
    in_full: tuple[ClaimEntry, ...] = ()


def wire_page(document: Document) -> WirePage:
    """Return the rows of `wire_texts` for paper, and the words above them.

    What most rows claim alike beside their readings is said once, above, and left out of those rows: one
    threshold of being joined, and the least to which they are apart, which holds for all of them. A reading
    from one end of a wire to its other, which stand beside it, is not named by them again; in a list of more
    than `LONG` wires such a reading of one wire is told in full, and needs no row of its own elsewhere.
    """
    rows = wire_rows(document)
    read = [row for row in rows if any(_readings(row))]
    above: dict[str, str] = {}
    known = [ohm for row in read if (ohm := _sensed_ohm(row, "continuity")) is not None]
    joined_ohm = max(known, key=known.count, default=math.nan)
    if 2 * known.count(joined_ohm) > len(rows):
        above["continuity"] = f"joined under {ohms(joined_ohm)}"
    known = [
        ohm for row in read if not joined_by_parts(row) and (ohm := _sensed_ohm(row, "isolation")) is not None
    ]
    if 2 * len(known) > len(rows):
        above["isolation"] = f"apart from others to {ohms(min(known))}" + " or more" * (len(set(known)) > 1)
    texts = [
        _by_ends(_texts(row, [k for k in above if k == "isolation" or _sensed_ohm(row, k) == joined_ohm]))
        for row in rows
    ]
    said = MEANING
    if above:
        said += f" Unless its row says otherwise, a wire is {', and '.join(above.values())}."
    if len(rows) <= LONG:
        return WirePage(said, texts)
    in_full = tuple(
        row.reading
        for row, text in zip(rows, texts, strict=True)
        if text[4] == END_TO_END and row.reading and row.reading.wires == (row.wire.name,)
    )
    sound = ["" if row.reading is None else claims.sound_is(row.reading) for row in rows]
    with_sound = [[*text[:5], ohm, *text[5:]] for text, ohm in zip(texts, sound, strict=True)]
    return WirePage(said, with_sound, True, in_full)


LONG = 1000
"""A list of more wires than this says what it can say once."""


def longest(rows: Sequence[Sequence[str]]) -> list[list[str]]:
    """Return, for each column, its longest text, then the longest of ever smaller shares of its rows."""
    columns = [sorted(column, key=lambda text: len(text.encode())) for column in zip(*rows, strict=True)]
    return [[column[int((len(column) - 1) * share)] for share in _SHARES] for column in columns]


_SHARES = (1.0, 0.97, 0.9, 0.75, 0.5)


def _by_ends(texts: list[str]) -> list[str]:
    """Return a row with its reading said shortly where it is the only claim in it, from end to end."""
    ends = texts[2:4]
    if texts[4] in (" to ".join(ends), " to ".join(ends[::-1])):
        return [*texts[:4], END_TO_END, *texts[5:]]
    return texts


def _texts(row: WireRow, without: Collection[str] = ()) -> list[str]:
    """Return a row; where it has readings, senses of the kinds in ``without`` that hold are left out."""
    figures = [""] * 4 if row.reading is None else _figures(row.reading)
    decision = _NO_CLAIM if row.decision is None else claims.DECISIONS[row.decision.value]
    readings = list(_readings(row))
    left_out = [kind for kind in without if readings and _sensed_ohm(row, kind) is not None]
    covered = "; ".join((*readings, *_senses(row, left_out))) or "none: an open of it would not show"
    return [row.wire.name, row.wire.colour, *map(str, row.wire.ends), covered, *figures, decision]


def _figures(claim: ClaimEntry) -> list[str]:
    return [
        "open" if claim.open else uncertain(claim.measured_ohm, claim.uncertainty_ohm),
        claims.limit(claim),
        claims.shown(claim),
        claims.left(claim, claim.margin, undecided=claims.NO_MARGIN),
    ]


def _claims(row: WireRow) -> Iterator[str]:
    """Yield what is claimed of a wire, shortly: its readings by their subjects, then joined, then apart."""
    yield from _readings(row)
    yield from _senses(row)


def _readings(row: WireRow) -> Iterator[str]:
    for claim in row.claims:
        if claim.kind in ("resistance", "component"):
            yield claim.subject + (" FAILS" if claim.decision is Decision.FAIL else "")


_SENSES = {"continuity": ("joined", "under"), "isolation": ("apart from others", "to")}
"""How what was sensed is said, by the kind of claim."""


def _sensed_ohm(row: WireRow, kind: str) -> float | None:
    """Return the threshold that says most of a wire; ``None`` where a claim fails or none holds by one."""
    known = [claim for claim in row.claims if claim.kind == kind and not found_somewhere(claim)]
    if any(claim.decision is Decision.FAIL for claim in known):
        return None
    limits_ohm = [c.threshold_ohm for c in known if c.decision is Decision.PASS and c.threshold_ohm]
    if not limits_ohm:
        return None
    return min(limits_ohm) if kind == "continuity" else max(limits_ohm)


def _senses(row: WireRow, without: Collection[str] = ()) -> Iterator[str]:
    for kind, (word, sign) in _SENSES.items():
        known = [claim for claim in row.claims if claim.kind == kind and not found_somewhere(claim)]
        strongest = _sensed_ohm(row, kind)
        if any(claim.decision is Decision.FAIL for claim in known):
            yield f"{word} FAILS"
        elif kind == "isolation" and strongest is not None and joined_by_parts(row):
            # Nothing shows it to be apart from those; what is said above of most wires is not said of it.
            yield f"apart to {ohms(strongest)} from all {BUT_JOINED}"
        elif kind in without:
            continue
        elif strongest is not None:
            yield f"{word} {sign} {ohms(strongest)}"
        elif known:
            yield word
    kinds = {(kind, number) for kind, number in row.elsewhere}
    told = dict.fromkeys(
        (number, _ELSEWHERE[kind])
        for kind, number in row.elsewhere
        if kind != "resistance" or ("continuity", number) not in kinds
    )
    yield from (f"see finding {number}: its net is {what}" for number, what in told)


_ELSEWHERE = {
    "continuity": "open elsewhere",
    "resistance": "open or bad elsewhere",
    "isolation": "joined to another elsewhere",
}
"""What is said of a wire whose net fails at another wire, by the kind of claim."""


def wires_table(document: Document) -> pd.DataFrame:
    """Return one row for each wire, figures in Ω as numbers; every identifier is text."""
    import pandas as pd

    rows = [
        {
            "run": document.run,
            "loom": document.loom.name,
            "serial": document.loom.serial,
            "wire": row.wire.name,
            "colour": row.wire.colour,
            "from": str(row.wire.ends[0]),
            "to": str(row.wire.ends[1]),
            "claims": "; ".join(_claims(row)),
            "measured": row.reading.subject if row.reading else "",
            "measured_ohm": row.reading.measured_ohm if row.reading else None,
            "uncertainty_ohm": row.reading.uncertainty_ohm if row.reading else None,
            "lower_limit_ohm": row.reading.lower_limit_ohm if row.reading else None,
            "limit_ohm": row.reading.own_limit_ohm if row.reading else None,
            "bound_ohm": row.reading.bound_ohm if row.reading else None,
            "margin": row.reading.margin if row.reading else None,
            "decision": row.decision.value if row.decision else _NO_CLAIM,
        }
        for row in wire_rows(document)
    ]
    return pd.DataFrame(rows)
