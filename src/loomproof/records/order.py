"""In which order runs were sealed: each chain says it for itself, the sealed times between chains.

The number that a store gives a run says nothing: it tells when the run came into that store, and nobody
sealed it.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import NamedTuple


class Place(NamedTuple):
    """One run: its id in the store, its place in its chain, its sealed start (RFC 3339) and kind."""

    id: int
    bench: str
    sequence: int
    started: str
    kind: str = "proof"


def sealed_order(places: Iterable[Place]) -> tuple[Place, ...]:
    """Return runs in the order in which they were sealed, oldest first.

    By their start; but never before the record that they follow in their chain: a clock that went back turns
    no chain round.
    """
    latest: dict[str, datetime.datetime] = {}
    keyed = []
    for place in sorted(places, key=lambda one: (one.bench, one.sequence)):
        moment = max(started_moment(place.started), latest.get(place.bench, _FIRST))
        latest[place.bench] = moment
        keyed.append((moment, place))
    return tuple(place for _, place in sorted(keyed, key=lambda pair: (pair[0], pair[1][1:3])))


_FIRST = datetime.datetime.min.replace(tzinfo=datetime.UTC)


def started_moment(text: str) -> datetime.datetime:
    """Return a sealed time as one moment, whatever its zone; what is no time comes first."""
    try:
        moment = datetime.datetime.fromisoformat(text)
    except ValueError:
        return _FIRST
    return moment if moment.tzinfo else moment.replace(tzinfo=datetime.UTC)
