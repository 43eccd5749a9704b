"""Whoever verifies a certificate may issue one afterwards, in the same process."""

from __future__ import annotations

import subprocess
import sys

SCRIPT = """
from loomproof.records import pdf_verify
from asn1crypto import cms

assert cms.CMSAttributeType("content_type").native == "content_type"
from loomproof.records import pdf_signature

assert cms.CMSAttributeType("signing_certificate_v2").native == "signing_certificate_v2"
"""


def test_reading_a_signature_first_does_not_hinder_signing() -> None:
    done = subprocess.run([sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
