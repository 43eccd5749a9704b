"""Many looms at once: which faults, which connectors, which wires, as tables.

Rows come from the store as values with the attributes that ``_RUN`` and ``_FOUND`` name; this room does not
know the store itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


_RUN = ("run", "loom", "serial", "verdict", "faults", "notes", "ended", "person", "bench", "hash")
_ENTERED = ("place", "simulated")
_FOUND = (
    "run",
    "ended",
    "loom",
    "serial",
    "number",
    "kind",
    "cause",
    "severity",
    "title",
    "what",
    "name",
    "key",
)


def runs_table(
    runs: Iterable[object], grades: Iterable[str], entered: Iterable[tuple[str, bool]] = ()
) -> pd.DataFrame:
    """Return one row for each run, with the grade of its pass; every identifier is text.

    ``entered`` has for each run where it was made and whether on a simulated bench.
    """
    import pandas as pd

    table = pd.DataFrame([[getattr(run, column) for column in _RUN] for run in runs], columns=list(_RUN))
    table.insert(_RUN.index("verdict") + 1, "grade", list(grades))
    more = pd.DataFrame(list(entered), columns=list(_ENTERED))
    if len(more) == len(table):
        for place, column in enumerate(_ENTERED):
            table.insert(list(table.columns).index("bench") + place, column, more[column])
    return _dated(table, "ended")


def repairs_table(rows: Iterable[tuple[str, str, str, str, int, str, str, str]]) -> pd.DataFrame:
    """Return one row for each repair that was noted: who did what about which finding, and when."""
    import pandas as pd

    return _dated(pd.DataFrame(list(rows), columns=list(_REPAIR)), "done")


_REPAIR = ("loom", "serial", "run", "title", "finding", "person", "done", "words")


def _dated(table: pd.DataFrame, column: str) -> pd.DataFrame:
    """Make times of a column's texts, where all of them are times."""
    import pandas as pd

    made = pd.to_datetime(table[column], utc=True, errors="coerce", format="ISO8601")
    if not table.empty and not bool(made.isna().any()):
        table[column] = made
    return table


def findings_table(
    found: Iterable[object], repairs: Mapping[tuple[str, int], str] | None = None
) -> pd.DataFrame:
    """Return one row for each finding, the things it names joined by kind of thing.

    ``repairs`` says what was noted as done, by run and number of finding (0: the whole run).
    """
    import pandas as pd

    noted = repairs or {}

    rows = pd.DataFrame([[getattr(f, column) for column in _FOUND] for f in found], columns=list(_FOUND))
    head = list(_FOUND[:9])
    if rows.empty:
        return pd.DataFrame(columns=[*head, "cavities", "connectors", "wires", "components", "repairs"])
    made = rows[head].drop_duplicates(["run", "ended", "number"]).reset_index(drop=True)
    for what, column in _THINGS:
        part = rows[rows["what"] == what].groupby(["run", "ended", "number"])["name"].agg(", ".join)
        named = [
            part.get((r, e, n), "")
            for r, e, n in zip(made["run"], made["ended"], made["number"], strict=True)
        ]
        made[column] = named
    made["repairs"] = [
        "; ".join(noted[key] for key in ((r, n), (r, 0)) if key in noted)
        for r, n in zip(made["run"], made["number"], strict=True)
    ]
    return _dated(made, "ended")


_THINGS = (
    ("cavity", "cavities"),
    ("connector", "connectors"),
    ("wire", "wires"),
    ("component", "components"),
)


def counts(found: Iterable[object], most: int = 15) -> dict[str, list[tuple[str, int]]]:
    """Return how many faults name each kind, connector and wire, most first; notes are left out.

    A fault that stands in several runs of one loom before it is mended counts once for each loom.
    """
    import pandas as pd

    rows = pd.DataFrame([[getattr(f, column) for column in _FOUND] for f in found], columns=list(_FOUND))
    rows = rows[rows["severity"] == "fault"]
    rows["loom"] = [f"{a}, {b}" if b else a for a, b in zip(rows["loom"], rows["serial"], strict=True)]
    kinds = rows.drop_duplicates(["loom", "key"])["kind"].str.replace("_", " ")
    made = {"faults by kind": _ranked(kinds, most)}
    for what, words in (("connector", "faults by connector"), ("wire", "faults by wire")):
        part = rows[rows["what"] == what].drop_duplicates(["loom", "key", "name"])
        made[words] = _ranked(part["name"], most)
    looms = rows.drop_duplicates(["loom", "key"])["loom"]
    made["faults by loom"] = _ranked(looms, most)
    return made


def _ranked(values: pd.Series[str], most: int) -> list[tuple[str, int]]:
    ranked = sorted(values.value_counts().items(), key=lambda pair: (-pair[1], str(pair[0])))
    return [(str(name), int(count)) for name, count in ranked[:most]]
