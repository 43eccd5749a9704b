"""Names and notes that suggest an airbag or a belt tensioner: what must never be driven, told by a word."""

from __future__ import annotations

import re

# Common practice, no published source: what people and diagrams call such circuits, in English and German.
_WORDS = re.compile(
    r"(?<![a-z])(air ?-?bags?|srs|squibs?|pyro\w*|(seat ?-?)?belt ?-?(pre)?-?tensioners?|pretensioners?"
    r"|gurtstraffer|zündpillen?)(?![a-z])"
)


def suggests_pyrotechnics(*texts: str) -> str:
    """Return the first word in any of these texts that suggests pyrotechnics, "" for none."""
    for text in texts:
        found = _WORDS.search(text.casefold().replace("_", " "))
        if found:
            return found[0]
    return ""
