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


def as_text(
    kind: type, read: Callable[[str], object], expected: str, handler: GetCoreSchemaHandler
) -> CoreSchema:
    """Return for pydantic that a ``kind`` stands in files as its ``str``, which ``read`` reads back."""
    from pydantic import PlainSerializer, PlainValidator, WithJsonSchema

    def value_of(value: object) -> object:
        if isinstance(value, str):
            return read(value)
        if isinstance(value, kind):
            return value
        raise ValueError(expected)

    written = PlainSerializer(str, return_type=str)
    return handler.generate_schema(
        Annotated[Any, PlainValidator(value_of), written, WithJsonSchema({"type": "string"})]
    )


class _Open:
    """Marks a number that may be infinite, and is ``"open"`` in a file then."""

    @staticmethod
    def __get_pydantic_core_schema__(source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        from pydantic import PlainSerializer, WrapValidator

        read = WrapValidator(lambda value, number: math.inf if value == "open" else number(value))
        written = PlainSerializer(lambda ohm: "open" if ohm == math.inf else ohm, when_used="json")
        return handler.generate_schema(Annotated[source, read, written])


Ohm = Annotated[float, _Open]
"""A resistance, Ω, that may be open."""
