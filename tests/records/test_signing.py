"""The certificate's signature beside the one that pyHanko's signer makes of the same file: byte for byte."""

from __future__ import annotations

import asyncio
import datetime
import io
import os
import subprocess
import sys

import pytest
from asn1crypto import keys as asn1_keys  # type: ignore[import-untyped]  # ships no types
from asn1crypto import x509 as asn1_x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature, encode_dss_signature
from pyhanko.pdf_utils.extensions import DeveloperExtension
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import fields, signers
from pyhanko.sign.signers.constants import ESIC_EXTENSION_1
from pyhanko_certvalidator.registry import SimpleCertificateStore

from loomproof.errors import RecordError
from loomproof.records.keys import Signer
from loomproof.records.pdf_signature import sign_pdf
from loomproof.records.seal import Chain, seal
from loomproof.reports.certificate import certificate_pdf
from loomproof.results.document import Verdict
from tests.records.conftest import NOW
from tests.reports.sample import document

P256_ORDER = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551
"""SEC 2, 2.4.2."""


class Signing(signers.SimpleSigner):
    """Signs with the station's key; of both values of s the lower."""

    def __init__(self, signer: Signer) -> None:
        der = signer.paper_certificate.public_bytes(serialization.Encoding.DER)
        private = signer.paper_key.private_bytes(
            serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
        super().__init__(
            signing_cert=asn1_x509.Certificate.load(der),
            signing_key=asn1_keys.PrivateKeyInfo.load(private),
            cert_registry=SimpleCertificateStore(),  # type: ignore[no-untyped-call]  # its __init__ lacks types
        )
        self.key = signer.paper_key

    def sign_raw(self, data: bytes, digest_algorithm: str) -> bytes:
        """Sign with SHA-256."""
        assert digest_algorithm == "sha256"
        r, s = decode_dss_signature(
            self.key.sign(data, ec.ECDSA(hashes.SHA256(), deterministic_signing=True))
        )
        return encode_dss_signature(r, min(s, P256_ORDER - s))


class Revision(IncrementalPdfFileWriter):
    """A revision that leaves version and metadata of the file alone."""

    def ensure_output_version(self, version: object) -> None:
        """Leave it."""

    def register_extension(self, ext: DeveloperExtension) -> None:
        """Name what PAdES needs in PDF 1.7, and nothing of PDF 2.0."""
        if ext is ESIC_EXTENSION_1:
            super().register_extension(ext)

    def _update_meta(self) -> None:
        pass


def signed_by_the_library(pdf: bytes, signer: Signer) -> bytes:
    made = signers.PdfSigner(
        signers.PdfSignatureMetadata(
            field_name="Loomproof",
            md_algorithm="sha256",
            subfilter=fields.SigSeedSubFilter.PADES,
            certify=True,
            docmdp_permissions=fields.MDPPerm.NO_CHANGES,
            name=f"loomproof station {signer.station}",
            reason="certificate of proof",
        ),
        signer=Signing(signer),
        new_field_spec=fields.SigFieldSpec(
            "Loomproof",
            readable_field_name="signature of the station",
            invis_sig_settings=fields.InvisSigSettings(box_out_of_bounds=True),
        ),
    )
    out = asyncio.run(made.async_sign_pdf(Revision(io.BytesIO(pdf + b"\n")), bytes_reserved=8192))
    return bytes(out.getbuffer())


def test_the_signature_is_that_of_a_signing_library_to_the_last_byte(
    signer: Signer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The moment is taken from the library's file, and the file's identifier is no chance here."""
    record = seal(document(wires=3, verdict=Verdict.PASS).plain(), Chain("bench", 1), signer)
    unsigned = certificate_pdf(record, fingerprint=signer.fingerprint)
    monkeypatch.setattr(os, "urandom", lambda count: bytes(range(count)))
    theirs = signed_by_the_library(unsigned, signer)
    at = theirs.index(b"/M (D\\072") + len(b"/M (D\\072")
    moment = datetime.datetime.strptime(theirs[at : at + 14].decode(), "%Y%m%d%H%M%S").astimezone()
    assert sign_pdf(unsigned, signer, moment) == theirs


def test_a_file_that_is_no_pdf_is_not_signed(signer: Signer) -> None:
    with pytest.raises(RecordError, match="cannot be signed"):
        sign_pdf(b"%PDF-1.7\nnothing", signer, NOW)


def test_signing_loads_no_client_of_the_network() -> None:
    script = "import sys, loomproof.records.pdf_signature; print(*sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert not {"aiohttp", "pyhanko.sign"} & set(done.stdout.split())
