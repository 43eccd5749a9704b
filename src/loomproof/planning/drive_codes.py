"""Drive codes: which nets are driven in which vector.

A code is an ``int``; bit b set means that the net is driven in vector b. The statements and their
proofs stand in ``THEORY.md`` beside this file.
"""

from __future__ import annotations

import math
from collections.abc import Iterator


def antichain_length(nets: int) -> int:
    """Return the fewest vectors in which ``nets`` codes exist, none contained in another (Sperner)."""
    if nets < 1:
        return 0
    length = 2
    while math.comb(length, length // 2) < nets:
        length += 1
    return length


def antichain_codes(nets: int) -> list[int]:
    """Return codes of constant weight, one a net: no code is contained in another."""
    length = antichain_length(nets)
    words = words_of_weight(length, length // 2)
    return [next(words) for _ in range(nets)]


def words_of_weight(length: int, weight: int) -> Iterator[int]:
    """Yield all words of ``length`` bits with ``weight`` ones, ascending."""
    if weight == 0:
        yield 0
        return
    word = (1 << weight) - 1
    while word < 1 << length:
        yield word
        # The next larger word with as many ones: move the lowest run's top one up, pack the rest down.
        lowest = word & -word
        ripple = word + lowest
        word = ripple | (((word ^ ripple) >> 2) // lowest)
