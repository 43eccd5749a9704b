"""What a record says of the resistance of joints, as whole numbers in a table beside it.

A joint is named as the claims name it. Of two readings of one joint in one record the later one stands.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, insert, select

from loomproof.records.schema import READINGS, RECORDS

MOST_MICRO_OHM = 10**15
"""What stands for every greater figure: no joint has 1 GΩ, and databases end at 64 bits."""

_AT_ONCE = 200
"""Records that are opened before their rows are written."""


def reading_rows(document: Mapping[str, Any]) -> tuple[Mapping[str, object], ...]:
    """Return a row for each joint whose resistance a results document (plain JSON values) says.

    µΩ, each ``uncertainty`` expanded (k = 2). An open joint has ``open`` 1 and reads 0; a ``limit`` of 0 is
    none. They are whole numbers so that sums over them are the same on every database.
    """
    rows: dict[str, Mapping[str, object]] = {}
    for claim in document["claims"]:
        ohm, is_open = claim.get("measured_ohm"), bool(claim.get("open"))
        if claim["kind"] != "resistance" or (ohm is None and not is_open):
            continue
        # In documents of schema 1 what wire and contacts allow stands beside what was claimed.
        limit_ohm = claim.get("physical_limit_ohm")
        rows[claim["subject"]] = {
            "joint": claim["subject"],
            "open": int(is_open),
            "micro_ohm": 0 if is_open else _micro(ohm),
            "uncertainty_micro_ohm": _micro(claim.get("uncertainty_ohm")),
            "limit_micro_ohm": _micro(claim.get("limit_ohm") if limit_ohm is None else limit_ohm),
        }
    return tuple(rows.values())


def _micro(ohm: float | None) -> int:
    return 0 if ohm is None else round(max(-MOST_MICRO_OHM, min(ohm * 1e6, MOST_MICRO_OHM)))


def fill_readings(connection: Connection) -> None:
    """Write the rows of all records that a store holds from before there was this table.

    A record that can't be read gets none: checking the store names it.
    """
    last = 0
    while True:
        query = select(RECORDS.c.run_id, RECORDS.c.packed).where(RECORDS.c.run_id > last)
        found = connection.execute(query.order_by(RECORDS.c.run_id).limit(_AT_ONCE)).all()
        if not found:
            return
        rows = [{"run_id": run_id, **row} for run_id, packed in found for row in _rows_in(packed)]
        if rows:
            connection.execute(insert(READINGS), rows)
        last = found[-1].run_id


def _rows_in(packed: bytes) -> Sequence[Mapping[str, object]]:
    try:
        return reading_rows(json.loads(zlib.decompress(packed))["body"]["document"])
    except (zlib.error, ValueError, KeyError, TypeError, AttributeError, OverflowError):
        return ()
