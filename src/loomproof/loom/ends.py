"""Ends of conductors: a cavity of a connector (``ECU:12``) or a splice (``S1``), as values and as text."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from loomproof.loom.plain import as_text
from loomproof.loom.text import next_name, quoted

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler
    from pydantic_core import CoreSchema


class End(NamedTuple):
    """One place where a conductor ends: a cavity of a connector, or a splice (``cavity == ""``).

    >>> import loomproof as lp
    >>> str(lp.End("ECU", "012")), str(lp.End("S1")), lp.End("ECU", "012") == lp.End("ECU", "12")
    ('ECU:012', 'S1', False)
    """

    connector: str
    cavity: str = ""

    def __str__(self) -> str:
        if not self.cavity:
            return quoted(self.connector)
        return f"{quoted(self.connector)}:{quoted(self.cavity)}"

    @classmethod
    def __get_pydantic_core_schema__(cls, _: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        return as_text(cls, end_of, "a place such as ECU:12 is expected", handler)


def ends_of(text: str) -> tuple[End, ...]:
    """Read ends from text: ``ECU:12 S1 "rear lamp":"L 1"``. Raises `ValueError` with what is wrong."""
    ends: list[End] = []
    rest = text.strip()
    while rest:
        connector, rest = next_name(rest, text, ":")
        cavity = ""
        if rest.startswith(":"):
            cavity, rest = next_name(rest[1:], text, ":")
            if not cavity:
                raise ValueError(f"{text!r}: a cavity is missing after the colon")
        if not connector:
            raise ValueError(f"{text!r}: a connector is missing before the colon")
        if rest and not rest[0].isspace():
            raise ValueError(f"{text!r}: a space is missing before {rest!r}")
        ends.append(End(connector, cavity))
        rest = rest.strip()
    return tuple(ends)


@lru_cache(maxsize=2**14)
def end_of(text: str) -> End:
    """Read one end from text (``ECU:12``). Raises `ValueError` with what is wrong."""
    ends = ends_of(text)
    if len(ends) != 1:
        raise ValueError(f"{text!r}: one place like ECU:12 is expected")
    return ends[0]
