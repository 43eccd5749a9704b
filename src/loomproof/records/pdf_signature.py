"""The certificate's PDF signature (PAdES baseline B-B, ETSI EN 319 142-1), with the bench's second key.

A certifying signature that permits no change, over the whole file. The key is ECDSA P-256, which ordinary
readers know; its certificate is self-signed and its fingerprint stands in the sealed record.

Only the reader and writer of pyHanko are used. Its signer would load clients for time stamps and a dozen
rules of validation, which took longer than all the sealing; the tests hold this file to that signer, byte for
byte.
"""

from __future__ import annotations

import datetime
import io
from typing import IO, Any

from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature, encode_dss_signature
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.extensions import DeveloperExtension, DevExtensionMultivalued
from pyhanko.pdf_utils.generic import pdf_name, pdf_string
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.misc import PdfError

from loomproof.errors import RecordError
from loomproof.records.keys import Signer
from loomproof.records.pdf_cms import signed_attributes, signed_data
from loomproof.records.pdf_verify import P256_ORDER

FIELD = "Loomproof"

_PDF: Any = generic  # whose classes ship no types

_GAP = b"<" + b"0" * 8192 + b">"
"""Room for the CMS as hex. What is left of it stays zero, and verification looks at that."""
_RANGE = b"[]" + b" " * 60
"""Room for the signed range, which is known once all is written."""
_PADES = DeveloperExtension(
    prefix_name=pdf_name("/ESIC"),
    base_version=pdf_name("/1.7"),
    extension_level=1,
    compare_by_level=True,
    multivalued=DevExtensionMultivalued.NEVER,
)
_PRINTED, _LOCKED = 0b100, 0b10000000
_SIGNED_AND_APPENDED_ONLY = 3


class _Revision(IncrementalPdfFileWriter):
    """A revision that adds the signature and nothing else, so that the file stays PDF/A-3.

    PDF/A-3 rests on PDF 1.7 and wants title and metadata as the page was set; the writer would raise the
    version and write metadata of its own.
    """

    def ensure_output_version(self, version: object) -> None:
        """Keep the version of the file."""

    def _update_meta(self) -> None:
        pass


class _Room(generic.PdfObject):
    """Bytes that stand as they are until what belongs in their place is known."""

    def __init__(self, held: bytes) -> None:
        self.held = held

    def write_to_stream(
        self, stream: IO[bytes], handler: object = None, container_ref: object = None
    ) -> None:
        """Write them."""
        stream.write(self.held)


def sign_pdf(pdf: bytes, signer: Signer, moment: datetime.datetime) -> bytes:
    """Return the PDF signed; `RecordError` where it cannot be read. ``moment`` is when, with its zone.

    The original file stays as it is at the front; the signature is one revision behind it.
    """
    out = io.BytesIO()
    # The revision must begin on a line of its own.
    try:
        writer: Any = _Revision(io.BytesIO(pdf + b"\n"))
        _add_field(writer, signer, moment)
        writer.write(out)
    except PdfError as error:
        raise RecordError(f"the certificate cannot be signed: {error}") from error
    made = bytearray(out.getbuffer())
    before = made.rindex(_GAP)
    after = before + len(_GAP)
    signed = b"[0 %d %d %d]" % (before, after, len(made) - after)
    at = made.index(_RANGE, after)
    made[at : at + len(signed)] = signed
    certificate = signer.paper_certificate.public_bytes(serialization.Encoding.DER)
    digest = hashes.Hash(hashes.SHA256())
    digest.update(made[:before])
    digest.update(made[after:])
    attributes = signed_attributes(certificate, digest.finalize())
    der = signed_data(certificate, attributes, _low(signer.paper_key, attributes.dump()))
    hexed = der.hex().upper().encode()
    made[before + 1 : before + 1 + len(hexed)] = hexed
    return bytes(made)


def _add_field(writer: Any, signer: Signer, moment: datetime.datetime) -> None:
    """Add a field that shows nothing to the first page, with a signature that is still to be filled in."""
    root = writer.root
    page = writer.find_page_for_modification(0)[0]
    form = _dictionary()
    root["/AcroForm"] = writer.add_object(form)
    # Printable as PDF/A wants every field, and beside the page, so that PDF/UA wants no tag.
    field = _dictionary(
        FT=pdf_name("/Sig"),
        T=pdf_string(FIELD),
        Type=pdf_name("/Annot"),
        Subtype=pdf_name("/Widget"),
        F=_PDF.NumberObject(_PRINTED | _LOCKED),
        Rect=_PDF.ArrayObject([_PDF.FloatObject(-9999)] * 4),
        P=page,
        TU=pdf_string("signature of the station"),
    )
    held = writer.add_object(field)
    writer.register_annotation(page, held)
    form["/Fields"] = _PDF.ArrayObject([held])
    form["/SigFlags"] = _PDF.NumberObject(_SIGNED_AND_APPENDED_ONLY)
    # PAdES in PDF 1.7 is named as an extension, and certifies by DocMDP (ISO 32000-1, 12.8.2.2): with P 1 no
    # change is permitted.
    writer.register_extension(_PADES)
    permitted = _dictionary(Type=pdf_name("/TransformParams"), V=pdf_name("/1.2"), P=_PDF.NumberObject(1))
    reference = _dictionary(
        Type=pdf_name("/SigRef"), TransformMethod=pdf_name("/DocMDP"), TransformParams=permitted
    )
    signature = writer.add_object(
        _dictionary(
            Contents=_Room(_GAP),
            ByteRange=_Room(_RANGE),
            Type=pdf_name("/Sig"),
            Filter=pdf_name("/Adobe.PPKLite"),
            SubFilter=pdf_name("/ETSI.CAdES.detached"),
            M=_PDF.pdf_date(moment),
            Name=pdf_string(f"loomproof station {signer.station}"),
            Reason=pdf_string("certificate of proof"),
            Reference=_PDF.ArrayObject([reference]),
        )
    )
    field["/V"] = signature
    root["/Perms"] = _dictionary(DocMDP=signature)
    writer.update_root()


def _dictionary(**entries: object) -> Any:
    return _PDF.DictionaryObject({pdf_name(f"/{name}"): entry for name, entry in entries.items()})


def _low(key: ec.EllipticCurvePrivateKey, data: bytes) -> bytes:
    """Sign with deterministic ECDSA (RFC 6979) and the lower of both values of s, as DER.

    With (r, s) also (r, n - s) is valid; taking one form only leaves nothing to change unseen.
    """
    r, s = decode_dss_signature(key.sign(data, ec.ECDSA(hashes.SHA256(), deterministic_signing=True)))
    return encode_dss_signature(r, min(s, P256_ORDER - s))
