"""What the columns of each frame are called and hold, and how a frame is made of rows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

_TEXT, _NUMBER, _COUNT, _YES = "string", "float64", "Int64", "boolean"

READINGS = {
    "run": _TEXT,
    "hook_up": _COUNT,
    "number": _COUNT,
    "time_s": _NUMBER,
    "kind": _TEXT,
    "a": _TEXT,
    "b": _TEXT,
    "resistance_ohm": _NUMBER,
    "voltage_v": _NUMBER,
    "temperature_c": _NUMBER,
    "error": _TEXT,
}
VALUE = {
    "resistance": "resistance_ohm",
    "insulation": "resistance_ohm",
    "voltage": "voltage_v",
    "diode": "voltage_v",
    "temperature": "temperature_c",
}
"""Which column the answer to a question stands in."""

CLAIMS = {
    "run": _TEXT,
    "kind": _TEXT,
    "subject": _TEXT,
    "decision": _TEXT,
    "statement": _TEXT,
    "cavities": _TEXT,
    "wires": _TEXT,
    "threshold_ohm": _NUMBER,
    "measured_ohm": _NUMBER,
    "uncertainty_ohm": _NUMBER,
    "expected_ohm": _NUMBER,
    "lower_limit_ohm": _NUMBER,
    "limit_ohm": _NUMBER,
    "bound_ohm": _NUMBER,
    "margin": _NUMBER,
    "meter_wires": _COUNT,
}
FINDINGS = {
    "run": _TEXT,
    "number": _COUNT,
    "severity": _TEXT,
    "kind": _TEXT,
    "cause": _TEXT,
    "cause_in_words": _TEXT,
    "title": _TEXT,
    "cavities": _TEXT,
    "wires": _TEXT,
    "components": _TEXT,
    "repair": _TEXT,
    "key": _TEXT,
}
HISTORY = {
    "serial": _TEXT,
    "subject": _TEXT,
    "run": _TEXT,
    "ended": _TEXT,
    "measured_ohm": _NUMBER,
    "uncertainty_ohm": _NUMBER,
    "limit_ohm": _NUMBER,
    "moved": _YES,
}
RUNS = {
    "run": _TEXT,
    "loom": _TEXT,
    "serial": _TEXT,
    "verdict": _TEXT,
    "grade": _TEXT,
    "faults": _COUNT,
    "notes": _COUNT,
    "started": _TEXT,
    "ended": _TEXT,
    "person": _TEXT,
    "bench": _TEXT,
    "signer": _TEXT,
    "trouble": _TEXT,
    "hash": _TEXT,
}
FAULTS = {"dimension": _TEXT, "name": _TEXT, "faults": _COUNT}
FIRST_PASS = {"month": _TEXT, "looms": _COUNT, "passed": _COUNT}
MENDING = {"times": _COUNT, "half_s": _COUNT, "nine_tenths_s": _COUNT}
DRIFT = {
    "loom": _TEXT,
    "serial": _TEXT,
    "joint": _TEXT,
    "readings": _COUNT,
    "days": _COUNT,
    "last_ohm": _NUMBER,
    "limit_ohm": _NUMBER,
    "slope_ohm_a_year": _NUMBER,
    "slope_from": _NUMBER,
    "slope_to": _NUMBER,
    "meets": _TEXT,
    "meets_from": _TEXT,
    "meets_to": _TEXT,
}
CONFIRMED = {
    "run": _TEXT,
    "loom": _TEXT,
    "serial": _TEXT,
    "number": _COUNT,
    "cause": _TEXT,
    "first_cause": _TEXT,
    "rank": _COUNT,
    "among": _COUNT,
}
SURVIVAL = {
    "after_days": _COUNT,
    "days": _COUNT,
    "at_risk": _COUNT,
    "lost": _COUNT,
    "share": _NUMBER,
    "error": _NUMBER,
    "low": _NUMBER,
    "high": _NUMBER,
}


def frame(rows: Iterable[Mapping[str, object]], columns: Mapping[str, str]) -> pd.DataFrame:
    """Return a frame of rows with these columns, each of its type; what a row has not is missing."""
    import pandas as pd

    table = [[row.get(name) for name in columns] for row in rows]
    return pd.DataFrame(table, columns=list(columns)).astype(dict(columns))
