"""Checking a certificate as PDF: strictly what `paper` writes, and nothing else.

No general PDF reader is needed before the signature holds, so a hostile file meets little code. Refused
is whatever the signature does not cover to the last byte: a second revision, bytes behind the end, a
signature whose padding is not zero, a CMS that is not built exactly as ours.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Mapping

from asn1crypto import cms  # type: ignore[import-untyped]  # ships no types
from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature, encode_dss_signature

from loomproof.errors import SealError
from loomproof.records.canonical import MOST_BYTES, sha256_hex
from loomproof.records.pdf_cms import signed_data
from loomproof.records.seal import Verified, verify

P256_ORDER = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551
"""Order of the curve's group (SEC 2, NIST P-256), for the one of both signature forms that is used."""

_RANGE = re.compile(rb"/ByteRange \[\s*0 (0|[1-9]\d{0,9}) ([1-9]\d{0,9}) (0|[1-9]\d{0,9})\s*\]")
_ATTACHED = re.compile(rb"\n\d{1,9} 0 obj\n<<([^\n]{1,300}/Type/EmbeddedFile[^\n]{1,300})>>\nstream\n")
_LENGTH = re.compile(rb"/Length ([1-9]\d{0,9})\b")
_CURE = "The file was changed after it was signed, or it is no certificate. Ask the signer for it again."


def verify_pdf(
    data: bytes,
    known_signers: Mapping[str, str] | None = None,
    name: str = "PDF",
    *,
    handed_over: bool = True,
    drawn: tuple[bytes, Verified] | None = None,
) -> Verified:
    """Check a certificate whole: its signature, the record inside, and that both belong together.

    For one that was not ``handed_over`` but kept here the slowest question is left out: whether the signature
    itself has one form only, so that another file could carry the same. ``drawn`` is a record that was just
    checked: where these are the bytes inside, they are not checked once more. `SealError` names ``name`` and
    what is wrong.
    """
    if len(data) > MOST_BYTES:
        raise SealError(f"{name}: {len(data)} bytes are more than a certificate can have ({MOST_BYTES})")
    if not data.startswith(b"%PDF-1.7\n"):
        what = "it is a PDF, but" if data.startswith(b"%PDF") else "it is no PDF:"
        raise _refuse(name, f"{what} it does not begin as a certificate does")
    before, after = _signed_range(data, name)
    certificate = _check_signature(data, before, after, name, one_form=handed_over)
    record = record_in(data, name)
    if drawn is not None and drawn[0] == record:
        verified = drawn[1]
    else:
        verified = verify(record, known_signers, f"{name}, record.json")
    if verified.paper != sha256_hex(certificate):
        raise _refuse(name, "it was signed with another key than its sealed record names")
    return verified


def _refuse(name: str, what: str) -> SealError:
    return SealError(f"{name}: {what}", cure=_CURE)


def _signed_range(data: bytes, name: str) -> tuple[int, int]:
    """Return where the signature's own bytes begin and end; all else must be signed."""
    at = data.rfind(b"/ByteRange ")
    match = _RANGE.match(data, at) if at >= 0 else None
    if match is None:
        raise _refuse(name, "it is not signed")
    before, after, rest = (int(number) for number in match.groups())
    if after + rest < len(data):
        raise _refuse(name, f"byte {after + rest + 1}: something was appended behind what was signed")
    if after + rest != len(data):
        raise _refuse(name, "the end of the file is missing")
    if not (before < after and data[:before].endswith(b"/Contents ")):
        raise _refuse(name, f"byte {before + 1}: the signature does not stand where it says")
    # Between both parts nothing may stand but one hex string.
    if data[before : before + 1] != b"<" or data[after - 1 : after] != b">":
        raise _refuse(name, f"byte {before + 1}: more is left unsigned than the signature itself")
    if not re.fullmatch(rb"(?:[0-9A-F]{2})+", data[before + 1 : after - 1]):
        raise _refuse(name, f"byte {before + 2}: the signature is not upper-case hex")
    return before, after


def _check_signature(data: bytes, before: int, after: int, name: str, *, one_form: bool) -> bytes:
    """Return the signing certificate (DER) if the signature holds over everything outside the gap."""
    contents = bytes.fromhex(data[before + 1 : after - 1].decode("ascii"))
    hashed = hashes.Hash(hashes.SHA256())
    hashed.update(data[:before])
    hashed.update(data[after:])
    try:
        der, attributes, certificate, signature = _parts(contents)
        if contents[len(der) :].strip(b"\0"):
            raise _refuse(name, "the padding behind the signature is not zero")
        stated = {attribute["type"].native: attribute["values"] for attribute in attributes}
        if stated["message_digest"][0].native != hashed.finalize():
            raise _refuse(name, "the content is not what was signed")
        if stated["content_type"][0].native != "data":
            raise _refuse(name, "the signature is over something else than a file")
        if one_form and signed_data(certificate, attributes, signature) != der:
            raise _refuse(name, "the signature is not built as ours are")
        key = x509.load_der_x509_certificate(certificate).public_key()
        if not isinstance(key, ec.EllipticCurvePublicKey) or not isinstance(key.curve, ec.SECP256R1):
            raise _refuse(name, "it is not signed with a P-256 key")
        r, s = decode_dss_signature(signature)
        if encode_dss_signature(r, s) != signature or s > P256_ORDER // 2:
            raise _refuse(name, "the signature has a form that is never written")
        key.verify(signature, attributes.untag().dump(), ec.ECDSA(hashes.SHA256()))
    except SealError:
        raise
    except InvalidSignature as error:
        raise _refuse(name, "the signature was not made by the key in it") from error
    except Exception as error:
        # Two parsers of other people meet a hostile file here, and raise what they like. Whatever it is,
        # the file is refused.
        raise _refuse(name, f"the signature cannot be read: {error}") from error
    return certificate


def _parts(contents: bytes) -> tuple[bytes, cms.CMSAttributes, bytes, bytes]:
    """Return the signature's DER without padding, its signed attributes, certificate and ECDSA value."""
    content = cms.ContentInfo.load(contents)
    der: bytes = content.dump()
    signed = content["content"]
    (signer,), (certificate,) = signed["signer_infos"], signed["certificates"]
    return der, signer["signed_attrs"], certificate.chosen.dump(), signer["signature"].native


def record_in(data: bytes, name: str) -> bytes:
    """Return the one attached file of a PDF, unpacked, unchecked. Raises `SealError` where it has none."""
    found = list(_ATTACHED.finditer(data))
    if len(found) != 1:
        raise _refuse(name, f"{len(found)} attached files, one was expected")
    head = found[0][1]
    length = _LENGTH.search(head)
    if length is None:
        raise _refuse(name, "the attached record has no length")
    stream = data[found[0].end() : found[0].end() + int(length[1])]
    if b"/Filter/FlateDecode" not in head:
        return stream
    unpacker = zlib.decompressobj()
    try:
        # One byte beyond the most is enough to know; a small file cannot blow up into memory.
        record = unpacker.decompress(stream, MOST_BYTES + 1)
    except zlib.error as error:
        raise _refuse(name, f"the attached record cannot be unpacked: {error}") from error
    if not unpacker.eof or unpacker.unused_data:
        raise _refuse(name, "the attached record does not end where it should")
    return record
