"""How values stand in files, told by their types to whoever reads and writes them (pydantic).

The names with underscores are those that pydantic asks a type for; it is imported when it asks.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler
    from pydantic_core import CoreSchema

OPEN = "open"
"""How an infinite resistance stands in a file."""


def as_text(kind: type, read: Callable[[str], object], expected: str) -> CoreSchema:
    """Return for pydantic that a ``kind`` stands in files as its ``str``, which ``read`` reads back."""
    from pydantic_core import core_schema as core

    def value_of(value: object) -> object:
        if isinstance(value, kind):
            return value
        if isinstance(value, str):
            return read(value)
        raise ValueError(expected)

    return core.no_info_plain_validator_function(
        value_of,
        json_schema_input_schema=core.str_schema(),
        serialization=core.plain_serializer_function_ser_schema(str, return_schema=core.str_schema()),
    )


class _Open:
    """Marks a number that may be infinite, and is ``"open"`` in a file then."""

    @staticmethod
    def __get_pydantic_core_schema__(source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        from pydantic_core import core_schema as core

        return core.no_info_wrap_validator_function(
            lambda value, read: math.inf if value == OPEN else read(value),
            handler(source),
            serialization=core.plain_serializer_function_ser_schema(
                lambda ohm: OPEN if ohm == math.inf else ohm, when_used="json"
            ),
        )


Ohm = Annotated[float, _Open]
"""A resistance, Ω, that may be open."""
