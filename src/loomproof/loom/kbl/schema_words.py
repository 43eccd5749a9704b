"""What a schema validator says, in words for people who do not write schemas."""

from __future__ import annotations

import re
from collections.abc import Callable

_ELEMENT = r"Element '(?:\{[^}]*\})?(?P<element>[^']+)'"


def _not_expected(match: re.Match[str]) -> str:
    wanted = _names(match["wanted"] or "")
    return f"<{match['element']}> does not belong here" + (f"; {wanted} is expected" if wanted else "")


def _missing_child(match: re.Match[str]) -> str:
    return f"<{match['element']}> is incomplete: {_names(match['wanted'] or '') or 'an element'} is missing"


def _names(text: str) -> str:
    return " or ".join(
        f"<{re.sub(r'{[^}]*}', '', name).strip()}>" for name in text.split(",") if name.strip()
    )


_WORDS: tuple[tuple[str, Callable[[re.Match[str]], str]], ...] = (
    (
        _ELEMENT + r": This element is not expected\.(?: Expected is (?:one of )?\( (?P<wanted>.*?) \)\.)?",
        _not_expected,
    ),
    (
        _ELEMENT + r": Missing child element\(s\)\.(?: Expected is (?:one of )?\( (?P<wanted>.*?) \)\.)?",
        _missing_child,
    ),
    (
        _ELEMENT + r": The attribute '(?P<attribute>[^']+)' is required but missing\.",
        lambda m: f"<{m['element']}> lacks its attribute {m['attribute']}",
    ),
    (
        _ELEMENT + r", attribute '(?P<attribute>[^']+)': The attribute '[^']+' is not allowed\.",
        lambda m: f"<{m['element']}> has an attribute {m['attribute']} that the schema does not know",
    ),
    (
        _ELEMENT + r"(?:, attribute '[^']+')?: \[facet 'enumeration'\] The value '(?P<value>.*?)' is not an "
        r"element of the set \{(?P<wanted>.*)\}\.",
        lambda m: f"<{m['element']}> holds {m['value']!r}; one of {m['wanted']} is expected",
    ),
    (
        _ELEMENT + r"(?:, attribute '[^']+')?: '(?P<value>.*?)' is not a valid value of the atomic type "
        r"'(?P<type>[^']+)'\.",
        lambda m: f"<{m['element']}> holds {m['value']!r}, which is no {_type(m['type'])}",
    ),
    (
        _ELEMENT + r": The type definition is abstract\.",
        lambda m: f"<{m['element']}> does not say which kind it is (xsi:type is missing)",
    ),
    (
        _ELEMENT + r", attribute '[^']+': The QName value '(?P<value>[^']+)' of the xsi:type attribute .*",
        lambda m: (
            f"<{m['element']}> says it is a {m['value'].rsplit('}', 1)[-1]}, which the schema does not know"
        ),
    ),
)


def _type(name: str) -> str:
    return {
        "xs:double": "number",
        "xs:integer": "whole number",
        "xs:boolean": "true or false",
        "xs:ID": "identifier, or it is given twice",
        "xs:IDREF": "reference",
        "xs:IDREFS": "list of references",
    }.get(name, name.rsplit(":", 1)[-1])


def plain_words(message: str) -> str:
    """Return a validator's message in plain words; one that is not known is returned as it is."""
    for pattern, words in _WORDS:
        if match := re.fullmatch(pattern, message.strip(), re.DOTALL):
            return words(match)
    return message.strip()
