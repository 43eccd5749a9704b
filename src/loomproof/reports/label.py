"""A printable label for the loom: name, verdict, date, and a QR code of record hash and fingerprint."""

from __future__ import annotations

import datetime

from loomproof.reports.certificate import qr_svg
from loomproof.reports.typesetting import typeset
from loomproof.reports.words import VERDICTS, clean, graded, when
from loomproof.results.document import Document


def label_pdf(document: Document, digest: str, fingerprint: str, link: str) -> bytes:
    """Set the label (62 × 29 mm) of a sealed record; a label without PASS says so in the same size."""
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
    return typeset("label.typ", {"view": view}, {}, datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC))
