"""Plain drive codes: they prove nets where connection works both ways, and show what an antichain costs."""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.planning.test_vectors import Group, Vector, vector


def toggling_length(nets: int) -> int:
    """Return how many vectors prove ``nets`` nets when no code may be all zeros or all ones."""
    if nets < 1:
        return 0
    return (nets + 1).bit_length()


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


def _heavier_for_bigger(codes: Sequence[int], sizes: Sequence[int]) -> list[int]:
    by_weight = sorted(codes, key=lambda code: (code.bit_count(), code))
    by_size = sorted(range(len(sizes)), key=lambda net: (sizes[net], net))
    given = [0] * len(sizes)
    for code, net in zip(by_weight, by_size, strict=True):
        given[net] = code
    return given


def toggling_vectors(groups: Sequence[Group]) -> tuple[Vector, ...]:
    """Return the fewest vectors that prove groups which no component couples, and no path one way."""
    codes = toggling_codes([group.size for group in groups])
    length = max((code.bit_length() for code in codes), default=0)
    return tuple(
        vector(groups, (), frozenset(i for i, code in enumerate(codes) if code >> bit & 1))
        for bit in range(length)
    )
