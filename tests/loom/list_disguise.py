"""Lists spoilt so that they look the same: marks nobody sees, full-width digits, marks for the cell above."""

from __future__ import annotations

import itertools
import random
import re

_WIDE = str.maketrans("0123456789", "０１２３４５６７８９")
UNSEEN = ("\u00ad", "\u200b", "\u00a0", "\ufeff", "\u2060")
AS_ABOVE = ('"', "〃", "ditto", "do.", '-"-')


def disguised(rng: random.Random, rows: list[list[str]], connectors: tuple[int, ...]) -> list[list[str]]:
    """Return the rows, in one list of six some cells written otherwise; ``connectors``: columns of these."""
    if rng.random() > 1 / 6:
        return rows
    how = rng.randrange(3)
    found = [list(rows[0])]
    for above, row in itertools.pairwise(rows):
        cells = list(row)
        for i, cell in enumerate(cells):
            if not cell or rng.random() < 0.7:
                continue
            if how == 0:
                at = rng.randint(0, len(cell))
                cells[i] = cell[:at] + rng.choice(UNSEEN[:2]) + cell[at:] + rng.choice(UNSEEN)
            elif how == 1:
                cells[i] = cell.translate(_WIDE)
            elif i in connectors and cell == above[i] and re.search(r"\w", cell) and above is not rows[0]:
                cells[i] = rng.choice(AS_ABOVE)
        found.append(cells)
    return found
