"""An end in a document: a value in the program, one text on file (``ECU:12``, ``"REAR LAMP":2``)."""

from __future__ import annotations

from typing import Annotated

from pydantic import PlainSerializer, PlainValidator, WithJsonSchema

from loomproof.loom.ends import End, end_of


def _read(value: object) -> End:
    if isinstance(value, End):
        return value
    if isinstance(value, str):
        return end_of(value)
    raise ValueError("a place such as ECU:12 is expected")


EndText = Annotated[
    End, PlainValidator(_read), PlainSerializer(str, return_type=str), WithJsonSchema({"type": "string"})
]
"""The type of a field that holds an end; its text is the one that every command reads back."""
