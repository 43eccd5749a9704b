"""What a match says to people: which plug is which and how sure that is, what differs, what to touch next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from loomproof.loom.model import End
from loomproof.reports.words import percent, plural
from loomproof.results.matching import Difference, Match, Standing, Unlike

HEADS = ("traced", "known", "how sure", "agree", "may also be")

CAVITY_HEADS = ("traced", "known", "how sure")

MOST_NAMED = 6
"""So many ends are named in one sentence; the rest is counted."""

MEANING = {
    Standing.ALIKE: "alike: others fit every reading as well, and only a touch or a look tells which it is",
    Standing.OPEN: "open: another place is nearly as good, and one change in the loom would explain it",
    Standing.UNTOLD: "untold: nothing that was traced speaks for it; what stands there goes by size alone",
}


def place_texts(found: Match) -> tuple[tuple[str, ...], ...]:
    """Return a row for each connector of the traced loom, under `HEADS`."""
    return tuple(
        (
            place.traced,
            place.known or "nothing like it",
            place.standing.value,
            f"{place.agreed} of {place.wired}",
            _listed(place.others),
        )
        for place in found.places
    )


def cavity_texts(found: Match) -> tuple[tuple[str, ...], ...]:
    """Return a row for each cavity of which the place is known, under `CAVITY_HEADS`, in the plugs' order."""
    standing = {place.traced: place.standing for place in found.places}
    place = {end: k for k, end in enumerate(found.traced.cavities)}
    return tuple(
        (
            str(each.traced),
            str(each.known),
            "one of several on this net"
            if not each.sure
            else f"as its plug: {standing[each.traced.connector]}",
        )
        for each in sorted(found.cavities, key=lambda each: place[each.traced])
    )


def crossed_texts(found: Match) -> Iterator[str]:
    """Yield a sentence for each plug with cavities that bear another name than the nets on them say.

    Only where names were found to mean the same in both: else every cavity may.
    """
    if not found.by_names:
        return
    for place in found.places:
        other = [
            each
            for each in found.cavities
            if each.traced.connector == place.traced and each.sure and each.traced.cavity != each.known.cavity
        ]
        if other:
            named = _listed([f"{each.traced} carries the net of {each.known}" for each in other])
            doubt = "" if place.standing is Standing.SURE else f" (if {place.traced} is placed right)"
            yield f"crossed: {named}{doubt}."


def difference_texts(found: Match) -> Iterator[str]:
    """Yield a sentence for each difference; what hangs on a connector that is not sure says so."""
    doubtful = {p.known for p in found.places if p.standing in (Standing.ALIKE, Standing.OPEN)}
    doubtful |= {p.traced for p in found.places if p.standing in (Standing.ALIKE, Standing.OPEN)}
    for difference in found.differences:
        named = {end.connector for end in (*difference.known, *difference.traced)}
        plugs = sorted(named & doubtful)
        doubt = f" (if {_listed(plugs)} {'is' if len(plugs) == 1 else 'are'} placed right)" if plugs else ""
        yield f"{difference.kind.value}: {_difference(found, difference)}{doubt}."


def _difference(found: Match, difference: Difference) -> str:
    beside = f" with {_ends(difference.beside)}" if difference.beside else " with each other"
    if difference.kind is Unlike.MISSING:
        return f"{found.known.name} joins {_ends(difference.known)}{beside}, and what was traced does not"
    return f"{_ends(difference.traced)} was found joined{beside}, and {found.known.name} does not join it"


def sentences(found: Match) -> Iterator[str]:
    """Yield what the table's words mean, how much agrees, and what to touch next."""
    used = {place.standing for place in found.places}
    yield from (text for standing, text in MEANING.items() if standing in used)
    if found.unseen:
        yield f"Not seen in what was traced: {_listed(found.unseen)}."
    if found.by_names:
        yield "Cavity numbers agree in both, so they were used as well."
    sure = sum(place.standing is Standing.SURE for place in found.places)
    yield (
        f"{plural(sure, 'connector')} of {len(found.places)} sure; of what {found.known.name} joins, "
        f"{percent(found.score)} was found so."
    )
    if found.touch is not None:
        answers = [_ends(ends) if ends else "nothing" for ends in found.touch.answers]
        yield (
            f"Touch next: hold the probe on {found.touch.known} of {found.known.name}. "
            f"Whichever answers tells most: {'; '.join(answers[:MOST_NAMED])}"
            f"{'; …' if len(answers) > MOST_NAMED else ''}."
        )


def _ends(ends: Sequence[End]) -> str:
    return _listed([str(end) for end in ends])


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(names[:MOST_NAMED])
    return f"{shown} and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else shown
