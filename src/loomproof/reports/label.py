"""A printable label for the loom: name, verdict, date, and a QR code of record hash and fingerprint."""

from __future__ import annotations

import datetime

from loomproof.errors import RecordError
from loomproof.reports.certificate import qr_svg
from loomproof.reports.typesetting import typeset
from loomproof.reports.words import VERDICTS, clean, graded, when
from loomproof.results.document import Document

_TOO_LONG = "too long for a label"
"""What the template panics with."""


def label_pdf(document: Document, digest: str, fingerprint: str, link: str) -> bytes:
    """Set the label (62 × 29 mm) of a sealed record; a label without PASS says so in the same size.

    Name, serial and grade shrink to half their size where they are long. Raises `RecordError` where even then
    a line would be lost.
    """
    view = {
        "loom": clean(document.loom.name),
        "serial": clean(document.loom.serial),
        "word": VERDICTS[document.verdict.value],
        "grade": clean(graded(document)),
        "simulated": document.bench.simulated,
        "ended": when(document.ended)[:10],
        "run": clean(document.run),
        "hash": digest[:16],
        "fingerprint": fingerprint,
        "qr": qr_svg(link),
    }
    try:
        return typeset("label.typ", {"view": view}, {}, datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC))
    except RecordError as error:
        if _TOO_LONG not in str(error):
            raise
        letters = len(document.loom.name) + len(document.loom.serial)
        raise RecordError(
            f"the loom's name and serial have {letters} letters, more than a label of 62 × 29 mm holds",
            cure="use the certificate's first page, or prove under a shorter name",
        ) from error
