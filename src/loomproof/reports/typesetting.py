"""Setting a template of this room as PDF, whatever characters the texts hold."""

from __future__ import annotations

import datetime
import json
import marshal
import re
import subprocess
import sys
from collections.abc import Mapping
from importlib import resources
from typing import cast

from loomproof.errors import RecordError

Texts = Mapping[str, str]


def typeset(template: str, values: Mapping[str, object], texts: Texts, moment: datetime.datetime) -> bytes:
    """Set a template of this room as PDF/A-3a and PDF/UA-1; ``values`` travel as JSON, ``texts`` as they are.

    A character that no font at hand has is shown by its code point, as ``[U+4E2D]``: PDF/A allows no gaps.
    """
    inputs = {name: json.dumps(value, ensure_ascii=False) for name, value in values.items()}
    much = sum(map(len, (*inputs.values(), *texts.values()))) >= MUCH
    return (_set_apart if much else _set)(template, inputs, texts, moment)


MUCH = 2_000_000
"""From so many characters on, a page is set by a process of its own."""


def _set_apart(template: str, inputs: Texts, texts: Texts, moment: datetime.datetime) -> bytes:
    """Set a template in a process of its own: what the typesetter took for a big loom it never gives back.

    An order to stop at the terminal is for the one who asked, so the process is of another session. Where it
    cannot be begun, or refuses, the page is set here, which tells why.
    """
    # Both ends are this Python, and what is told is millions of characters: JSON would spell each anew.
    told = marshal.dumps((template, dict(inputs), dict(texts), moment.isoformat()))
    command = [sys.executable, "-m", "loomproof.reports.typesetting"]
    try:
        done = subprocess.run(
            command,
            input=told,
            capture_output=True,
            start_new_session=True,  # POSIX; Windows knows the next
            creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
            check=False,
        )
    except OSError:
        return _set(template, inputs, texts, moment)
    if done.returncode < 0:
        raise RecordError(f"the page cannot be set: what sets it was ended by signal {-done.returncode}")
    return done.stdout if done.returncode == 0 else _set(template, inputs, texts, moment)


def _set(template: str, inputs: Texts, texts: Texts, moment: datetime.datetime) -> bytes:
    import typst

    source = resources.files("loomproof.reports") / "templates" / template
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


if __name__ == "__main__":
    of, values_of, texts_of, at = marshal.load(sys.stdin.buffer)
    sys.stdout.buffer.write(_set(of, values_of, texts_of, datetime.datetime.fromisoformat(at)))
