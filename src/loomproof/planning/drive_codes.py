"""Drive codes: which nets are driven in which vector.

A code is an ``int``; bit b set means that the net is driven in vector b. The statements and their
proofs stand in ``THEORY.md`` beside this file.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence


def toggling_length(nets: int) -> int:
    """Return how many vectors prove ``nets`` nets when no code may be all zeros or all ones."""
    if nets < 1:
        return 0
    return (nets + 1).bit_length()


def antichain_length(nets: int) -> int:
    """Return the fewest vectors in which ``nets`` codes exist, none contained in another (Sperner)."""
    if nets < 1:
        return 0
    length = 2
    while math.comb(length, length // 2) < nets:
        length += 1
    return length


def toggling_codes(sizes: Sequence[int]) -> list[int]:
    """Return distinct codes, one a net, none all zeros or all ones; bigger nets get heavier codes.

    With codes sorted by weight as nets are by size (``sizes`` in points), each pair of nets has a vector
    that drives the bigger and reads the smaller: the pair is tested at ``SENSE``/min(m), not /max(m).
    """
    length = toggling_length(len(sizes))
    full = (1 << length) - 1
    # Taking the codes nearest to half weight first keeps every input toggling often.
    chosen = sorted(range(1, full), key=lambda code: (abs(2 * code.bit_count() - length), code))[: len(sizes)]
    return _heavier_for_bigger(chosen, sizes)


def antichain_codes(sizes: Sequence[int]) -> list[int]:
    """Return codes of constant weight, one a net: no code is contained in another."""
    length = antichain_length(len(sizes))
    words = words_of_weight(length, length // 2)
    return [next(words) for _ in sizes]


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


def _heavier_for_bigger(codes: Sequence[int], sizes: Sequence[int]) -> list[int]:
    by_weight = sorted(codes, key=lambda code: (code.bit_count(), code))
    by_size = sorted(range(len(sizes)), key=lambda net: (sizes[net], net))
    given = [0] * len(sizes)
    for code, net in zip(by_weight, by_size, strict=True):
        given[net] = code
    return given
