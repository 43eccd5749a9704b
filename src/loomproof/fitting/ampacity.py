"""Reads a person's own table of continuous current by section, with its source and conditions."""

from __future__ import annotations

import csv
import math
from pathlib import Path

from loomproof.errors import UsageError
from loomproof.fitting.fuse_coordination import Ampacity


def read_ampacity(path: Path) -> Ampacity:
    """Read a CSV table of csa_mm2, ampacity_a, source and conditions.

    Raises `UsageError` for a file or a row that cannot be read, or a row without source or conditions.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise UsageError(
            f"{path}: cannot be read: {error}", cure="A CSV file in UTF-8 is expected."
        ) from error
    amperes: dict[float, float] = {}
    sources, conditions = set(), set()
    for number, row in enumerate(rows, 2):
        try:
            size_mm2, ampacity_a = float(row["csa_mm2"]), float(row["ampacity_a"])
            if not all(0.0 < value < math.inf for value in (size_mm2, ampacity_a)):
                raise ValueError
            amperes[size_mm2] = ampacity_a
        except (KeyError, TypeError, ValueError) as error:
            raise UsageError(
                f"{path}, row {number}: csa_mm2 and ampacity_a are expected as numbers above zero",
                cure="Columns: csa_mm2, ampacity_a, source, conditions.",
            ) from error
        sources.add((row.get("source") or "").strip())
        conditions.add((row.get("conditions") or "").strip())
    if not amperes or not all(sources) or not all(conditions):
        raise UsageError(
            f"{path}: every row needs a source and its conditions (ambient, bundling)",
            cure="A table without them approves nothing; do without it then.",
        )
    return Ampacity(amperes, "; ".join(sorted(sources)), "; ".join(sorted(conditions)))
