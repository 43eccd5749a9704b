"""What confirmed causes have taught of where faults are found, as a value that a run was judged with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from pydantic import ConfigDict

_STRICT = ConfigDict(extra="forbid", allow_inf_nan=False)


@dataclass(frozen=True, slots=True)
class LearnedCost:
    """By how much one cause costs more (or less, below 0) than shipped, in broken wires.

    ``at`` is what of a loom it was found at (``cavity``, ``wire``, ``lead`` …; "" for nothing that is named).
    ``family`` and ``connector`` say for which looms and where it holds, "" for all of them. It was found so
    ``found`` times among the ``among`` confirmed causes that it could have been.
    """

    cause: str
    at: str
    found: int
    among: int
    change: float
    family: str = ""
    connector: str = ""
    __pydantic_config__: ClassVar[ConfigDict] = _STRICT


@dataclass(frozen=True, slots=True)
class Learned:
    """What was learned of ``cases`` confirmed causes; ``digest`` is SHA-256 (hex) over them, in their order.

    ``family`` is the loom family that it was asked for: costs of other families are not in it.
    """

    cases: int
    digest: str
    family: str
    costs: tuple[LearnedCost, ...]
    __pydantic_config__: ClassVar[ConfigDict] = _STRICT
