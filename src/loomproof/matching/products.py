"""How many cavities two looms share, for all pairs of connectors or of nets at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from loomproof.matching.shape import Matrix

Index = NDArray[np.int64]


class Products:
    """The sum over levels of ``mine @ x @ theirs.T`` for any ``x``. Holds nothing that changes.

    ``levels`` are pairs of matrices as `Shape.levels` has them, of mine and of theirs; ``shape`` is that of
    the result, how many rows mine and theirs have.

    A plug holds few of all nets: as dense matrices these products take twenty times as long. And a sparse
    product of this size is mostly its own preparation, so all levels are laid one upon the other: what a
    level shares with another one is left aside, and empty rows, which most are above the first, left out.
    """

    def __init__(self, levels: Sequence[tuple[Matrix, Matrix]], shape: tuple[int, int]) -> None:
        from scipy.sparse import csr_array

        self._shape = shape
        self._blocks: list[tuple[Index, Index, slice, slice]] = []
        mine_rows: list[Matrix] = []
        theirs_rows: list[Matrix] = []
        at, there = 0, 0
        for mine, theirs in levels:
            # The first level is nearly full: whole, it needs no gathering.
            rows = np.flatnonzero(mine.any(axis=1)) if mine_rows else np.arange(len(mine))
            columns = np.flatnonzero(theirs.any(axis=1)) if mine_rows else np.arange(len(theirs))
            block = slice(at, at + len(rows)), slice(there, there + len(columns))
            self._blocks.append((rows[:, None], columns[None, :], *block))
            mine_rows.append(mine[rows])
            theirs_rows.append(theirs[columns])
            at, there = block[0].stop, block[1].stop
        if levels:
            self._mine, self._theirs = csr_array(np.vstack(mine_rows)), csr_array(np.vstack(theirs_rows))

    def of(self, x: Matrix) -> Matrix:
        """Return the sum for this ``x``, which has a row for each column of mine, and a column for theirs."""
        if not self._blocks:
            return np.zeros(self._shape)
        # Theirs stands to the left, transposed: from the right scipy would turn it round at every call.
        all_levels = np.asarray(self._theirs @ (self._mine @ x).T).T
        _, _, rows, columns = self._blocks[0]
        found = np.ascontiguousarray(all_levels[rows, columns])
        for to_rows, to_columns, rows, columns in self._blocks[1:]:
            found[to_rows, to_columns] += all_levels[rows, columns]
        return found
