"""A traced loom laid on a known one, and what is accepted of that taken over into a loom of its own."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path

from loomproof.loom.model import End
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from loomproof.matching.match import match
from loomproof.matching.taking import take
from loomproof.results.matching import Match, Standing


def matched(
    traced: Path,
    known: Path,
    touched: Sequence[tuple[End, End]],
    taken: Collection[str] = (),
    target: Path | None = None,
    *,
    every_sure: bool = False,
    over: bool = False,
) -> Match:
    """Lay ``traced`` on ``known``; write to ``target`` what is ``taken``, connectors of ``traced`` by name.

    ``every_sure`` takes each connector that is sure as well. Raises `DescriptionError` for either loom, and
    `UsageError` for a connector that cannot be taken or a target that is there.
    """
    mine, theirs = load(traced).loom, load(known).loom
    laid = match(mine, theirs, touched)
    if target is None:
        return laid
    sure = [place.traced for place in laid.places if every_sure and place.standing is Standing.SURE]
    names = [*taken, *sure]
    # What is accepted is known from now on, and with it the cavities that hang on it.
    accepted = {name: place.known for name, place in laid.place_of.items() if name in names and place.known}
    laid = match(mine, theirs, touched, accepted)
    write_folder(take(laid, names), target, over=over)
    return laid
