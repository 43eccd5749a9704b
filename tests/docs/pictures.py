"""Every picture of the documentation, drawn anew by the tool itself: looms, connector faces, certificates.

``python -m tests.docs.pictures`` draws those anew that are kept in ``docs/pictures``.
"""

from __future__ import annotations

import os
import tempfile
from contextlib import ExitStack
from pathlib import Path
from unittest import mock

import loomproof as lp
from loomproof.reports.drawing import drawings

ROOT = Path(__file__).parents[2]
TAIL = ROOT / "fixtures" / "tail_lamp"


CERTIFICATES = {
    "pictures/certificate_fail.png": "fault=open%20W2",
    "pictures/certificate_pass.png": "four-wire=0.001:0.001",
}
"""The options of the simulated bench that each was proved on."""


def drawn() -> dict[str, bytes]:
    """Return the pictures by their place in the site."""
    return looms() | {name: _page(options) for name, options in CERTIFICATES.items()}


def looms() -> dict[str, bytes]:
    """Return the drawing of the demo loom and of its connectors' faces, by their place in the site.

    They stand in ``docs/pictures`` as well, for whoever reads the pages without the site.
    """
    return {f"pictures/{name}": svg for name, svg in drawings(lp.load(TAIL)).items()}


def _page(options: str) -> bytes:
    """Prove the demo loom on a simulated bench and return the first page of its certificate as PNG."""
    import typst

    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        # Keys and records are of this build alone.
        stack.enter_context(mock.patch.dict(os.environ, {"LOOMPROOF_HOME": str(folder / "home")}))
        loom = lp.load(TAIL)
        with lp.open_bench(f"sim:?{options}", loom=loom) as bench:
            job = lp.Job(loom, bench, adapter=lp.Adapter.in_order(loom), operator=lp.Unattended())
            for _ in job.prove():
                pass
        assert job.proof is not None
        made = lp.Store().seal(job.proof).write_certificate(folder)
        made.rename(folder / "certificate.pdf")
        sheet = folder / "sheet.typ"
        sheet.write_text(
            "#set page(width: auto, height: auto, margin: 0pt)\n"
            '#image("certificate.pdf", page: 1, width: 17cm, alt: "page 1 of the certificate")\n',
            encoding="utf-8",
        )
        picture = typst.compile(sheet, format="png", ppi=110.0)
    assert isinstance(picture, bytes)
    return picture


if __name__ == "__main__":
    for name, data in looms().items():
        (ROOT / "docs" / name).write_bytes(data)
