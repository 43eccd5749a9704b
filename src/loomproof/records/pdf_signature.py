"""The certificate's PDF signature (PAdES baseline B-B, ETSI EN 319 142-1), with the bench's second key.

A certifying signature that permits no change, over the whole file. The key is ECDSA P-256, which ordinary
readers know; its certificate is self-signed and its fingerprint stands in the sealed record.
"""

from __future__ import annotations

import asyncio
import io

from asn1crypto import keys as asn1_keys  # type: ignore[import-untyped]  # ships no types
from asn1crypto import x509 as asn1_x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature, encode_dss_signature
from pyhanko.pdf_utils.extensions import DeveloperExtension
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.sign import fields, signers
from pyhanko.sign.general import SigningError
from pyhanko.sign.signers.constants import ESIC_EXTENSION_1
from pyhanko_certvalidator.registry import SimpleCertificateStore

from loomproof.errors import RecordError
from loomproof.records.keys import Signer
from loomproof.records.pdf_verify import P256_ORDER

FIELD = "Loomproof"


class _LowSigner(signers.SimpleSigner):
    """Signs with deterministic ECDSA (RFC 6979) and the lower of both values of s.

    With (r, s) also (r, n - s) is valid; taking one form only leaves nothing to change unseen.
    """

    def __init__(self, signer: Signer) -> None:
        certificate = asn1_x509.Certificate.load(
            signer.paper_certificate.public_bytes(serialization.Encoding.DER)
        )
        private = signer.paper_key.private_bytes(
            serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
        super().__init__(
            signing_cert=certificate,
            signing_key=asn1_keys.PrivateKeyInfo.load(private),
            cert_registry=SimpleCertificateStore(),  # type: ignore[no-untyped-call]  # its __init__ lacks types
        )
        self._key = signer.paper_key

    def sign_raw(self, data: bytes, digest_algorithm: str) -> bytes:
        """Return the DER signature of ``data``; only SHA-256 is asked for."""
        if digest_algorithm != "sha256":
            raise SigningError(f"{digest_algorithm} was not expected")
        made = self._key.sign(data, ec.ECDSA(hashes.SHA256(), deterministic_signing=True))
        r, s = decode_dss_signature(made)
        return encode_dss_signature(r, min(s, P256_ORDER - s))


class _Revision(IncrementalPdfFileWriter):
    """A revision that adds the signature and nothing else, so that the file stays PDF/A-3.

    PDF/A-3 rests on PDF 1.7 and wants title and metadata as the page was set; the writer would raise the
    version and write metadata of its own.
    """

    def ensure_output_version(self, version: object) -> None:
        """Keep the version of the file."""

    def register_extension(self, ext: DeveloperExtension) -> None:
        """Name the extension that PAdES needs in PDF 1.7, and none of PDF 2.0."""
        if ext is ESIC_EXTENSION_1:
            super().register_extension(ext)

    def _update_meta(self) -> None:
        pass


def sign_pdf(pdf: bytes, signer: Signer) -> bytes:
    """Return the PDF signed; `RecordError` where it cannot be read.

    The original file stays as it is at the front; the signature is one revision behind it.
    """
    # The revision must begin on a line of its own.
    try:
        writer = _Revision(io.BytesIO(pdf + b"\n"))
        # A size fixed beforehand: what is left of it stays zero, and verification looks at that.
        made = signers.PdfSigner(
            signers.PdfSignatureMetadata(
                field_name=FIELD,
                md_algorithm="sha256",
                subfilter=fields.SigSeedSubFilter.PADES,
                certify=True,
                docmdp_permissions=fields.MDPPerm.NO_CHANGES,
                name=f"loomproof station {signer.station}",
                reason="certificate of proof",
            ),
            signer=_LowSigner(signer),
            new_field_spec=fields.SigFieldSpec(
                FIELD,
                readable_field_name="signature of the station",
                # Printable as PDF/A wants every field, and beside the page, so that PDF/UA wants no tag.
                invis_sig_settings=fields.InvisSigSettings(box_out_of_bounds=True),
            ),
        )
        out = asyncio.run(made.async_sign_pdf(writer, bytes_reserved=8192))
    except (PdfError, SigningError) as error:
        raise RecordError(f"the certificate cannot be signed: {error}") from error
    return bytes(out.getbuffer())
