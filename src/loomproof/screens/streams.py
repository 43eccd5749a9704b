"""Standard input, output and error, also where one is closed, full or has an alphabet that lacks signs."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from loomproof.errors import UsageError
from loomproof.screens.printing import line


def prepare_streams() -> None:
    """Have somewhere to read from and write to; a sign that an alphabet lacks is shown as a question mark."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(
                os.devnull, os.O_RDWR
            )  # takes this number, so that no journal gets it and is printed into
    sys.stdin = sys.stdin or io.StringIO()
    sys.stdout = sys.stdout or io.StringIO()
    sys.stderr = sys.stderr or io.StringIO()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def output_gone() -> None:
    """Point streams that cannot be written at nothing, so that flushing them at exit does not fail again."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def nobody_there() -> None:
    """Say the rest to nobody, and take no answer any more: whoever can't read a question gives none."""
    output_gone()
    sys.stdin = io.StringIO()


def tell(text: str, head: str = "") -> None:
    """Write a line to standard error; where that cannot be written, nobody reads it and the code says it."""
    try:
        line(text, head, err=True)
    except OSError:
        output_gone()


def writable(file: str | None) -> None:
    """Refuse a file that has no folder to go to before any work is done for it."""
    if file and file != "-" and not Path(file).absolute().parent.is_dir():
        raise UsageError(f"{file}: there is no folder {Path(file).parent}", cure="Make it, or name another.")


def write_json(file: str, data: bytes) -> None:
    """Write to a file, or to standard output for ``-``."""
    from loomproof.jobs.files import write_file

    if file == "-":
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
    else:
        write_file(Path(file), data)


def refuse_no_text(arguments: Sequence[str]) -> None:
    """Refuse words that are no text in this terminal's encoding: no record could hold them."""
    for word in arguments:
        shown = word.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
        if any("\ud800" <= sign <= "\udfff" for sign in word):
            raise UsageError(f"{shown} is no text in UTF-8", cure="Type it again, or rename the file.")
