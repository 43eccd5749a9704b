"""Setting a template of this room as PDF, whatever characters the texts hold."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Mapping
from importlib import resources
from typing import cast

from loomproof.errors import RecordError


def typeset(
    template: str, values: Mapping[str, object], texts: Mapping[str, str], moment: datetime.datetime
) -> bytes:
    """Set a template of this room as PDF/A-3a and PDF/UA-1; ``values`` travel as JSON, ``texts`` as they are.

    A character that no font at hand has is shown by its code point, as ``[U+4E2D]``: PDF/A allows no gaps.
    """
    import typst

    source = resources.files("loomproof.reports") / "templates" / template
    inputs = {name: json.dumps(value, ensure_ascii=False) for name, value in values.items()}
    for system_fonts in (False, True):
        for _ in range(_MOST_ROUNDS):
            compiler = typst.Compiler(source.read_bytes(), ignore_system_fonts=not system_fonts)
            try:
                made = compiler.compile(
                    format="pdf",
                    sys_inputs={**inputs, **texts},
                    pdf_standards=["a-3a", "ua-1"],
                    timestamp=moment,
                )
            except typst.TypstError as error:
                gap = _GAP.search(f"{error.message} {error.diagnostic}")
                if gap is None:
                    raise RecordError(f"the page cannot be set: {error.message}") from error
                if not system_fonts:
                    break  # A font of this machine may have it.
                inputs = {name: _spelt(value, gap[1]) for name, value in inputs.items()}
            else:
                return cast(bytes, made)
    raise RecordError("the page cannot be set: too many characters that no font has")


_MOST_ROUNDS = 200
_GAP = re.compile(r'the text `"(.+?)"` could not be displayed', re.DOTALL)


def _spelt(text: str, gap: str) -> str:
    for mark in gap:
        text = text.replace(mark, f"[U+{ord(mark):04X}]")
    return text
