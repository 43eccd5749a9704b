"""The certificate as PDF: what we check, and what openssl, qpdf and another library say of it."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.diff_analysis import ModificationLevel
from pyhanko.sign.validation import SignatureCoverageLevel, validate_pdf_signature
from pyhanko_certvalidator import ValidationContext
from pypdf import PdfReader

from loomproof.errors import SealError
from loomproof.records.keys import Signer, new_signer
from loomproof.records.pdf_signature import sign_pdf
from loomproof.records.pdf_verify import verify_pdf
from loomproof.records.seal import Chain, seal, verify
from loomproof.records.verify_file import check
from loomproof.reports.certificate import certificate_pdf
from loomproof.results.document import Verdict
from tests.records.conftest import NOW
from tests.reports.sample import document


@pytest.fixture(scope="module")
def record(signer: Signer) -> bytes:
    made = document(wires=3, verdict=Verdict.PASS, name="Three wires")
    return seal(made.plain(), Chain("bench", 1), signer)


@pytest.fixture(scope="module")
def unsigned(record: bytes, signer: Signer) -> bytes:
    return certificate_pdf(record, fingerprint=signer.fingerprint, link="LOOMPROOF:TEST")


@pytest.fixture(scope="module")
def pdf(unsigned: bytes, signer: Signer) -> bytes:
    return sign_pdf(unsigned, signer, NOW)


def signature_gap(pdf: bytes) -> tuple[int, int]:
    found = re.findall(rb"/ByteRange \[0 (\d+) (\d+) (\d+)\]", pdf)
    before, after, _ = (int(number) for number in found[-1])
    return before, after


def test_a_certificate_verifies_and_gives_its_record(pdf: bytes, record: bytes, signer: Signer) -> None:
    verified = check(pdf, {signer.public_hex: "the shop"})
    assert (verified.standing, verified.paper) == ("genuine", signer.paper_hex)
    assert verified.document().loom.name == "Three wires"
    assert check(record).hash == verified.hash
    assert check(pdf).standing == "intact, signer unknown"


def assert_found(pdf: bytes, at: int, flip: int) -> None:
    broken = bytearray(pdf)
    broken[at] ^= flip
    with pytest.raises(SealError):
        verify_pdf(bytes(broken))


def test_changed_bytes_of_the_signature_are_found(pdf: bytes) -> None:
    """A spread of bytes beside the signature and of its own; the campaign below takes them all."""
    before, after = signature_gap(pdf)
    used = len(pdf[before:after].rstrip(b"0>"))
    for at in (*range(before - 20, before + 10), *range(before + 10, before + used + 20, 19)):
        assert_found(pdf, at, (0x01, 0x20)[at % 2])
    for at in range(after - 10, len(pdf), 7):
        assert_found(pdf, at, 0x01)


def lengthened(der: bytes, to_change: tuple[int, ...], path: tuple[int, ...] = ()) -> bytes:
    """The same values, one length of which takes a byte more than it needs: BER, not DER (ITU-T X.690)."""
    made, at, number = b"", 0, 0
    while at < len(der):
        tag, size, head = der[at], der[at + 1], 2
        if size & 0x80:
            head += size & 0x7F
            size = int.from_bytes(der[at + 2 : at + head], "big")
        content = der[at + head : at + head + size]
        here, at, number = (*path, number), at + head + size, number + 1
        if tag & 0x20:
            content = lengthened(content, to_change, here)
        digits = (len(content).bit_length() + 7) // 8 + (here == to_change)
        short = len(content) < 0x80 and here != to_change
        length = bytes([len(content)] if short else [0x80 | digits, *len(content).to_bytes(digits, "big")])
        made += bytes([tag]) + length + content
    return made


@pytest.mark.parametrize(
    "place",
    [
        pytest.param((0,), id="the whole"),
        pytest.param((0, 1, 0, 0), id="its version"),
        pytest.param((0, 1, 0, 3), id="the certificates"),
        pytest.param((0, 1, 0, 3, 0, 0, 1), id="the certificate's number"),
        pytest.param((0, 1, 0, 3, 0, 0, 6), id="the certificate's key"),
        pytest.param((0, 1, 0, 4, 0, 1), id="who signed"),
        pytest.param((0, 1, 0, 4, 0, 3), id="what is signed"),
        pytest.param((0, 1, 0, 4, 0, 3, 0, 1, 0), id="a signed value"),
        pytest.param((0, 1, 0, 4, 0, 5), id="the signature"),
    ],
)
def test_the_same_signature_written_another_way_is_refused(pdf: bytes, place: tuple[int, ...]) -> None:
    """Two files must not be the same certificate."""
    before, after = signature_gap(pdf)
    padded = bytes.fromhex(pdf[before + 1 : after - 1].decode("ascii"))
    der = padded[: 4 + int.from_bytes(padded[2:4], "big")]
    assert lengthened(der, ()) == der, "DER has one form, which this writes"
    other = lengthened(der, place)
    assert len(other) > len(der)
    filled = other.ljust(len(padded), b"\0").hex().upper().encode("ascii")
    with pytest.raises(SealError, match="not built as ours are"):
        verify_pdf(pdf[: before + 1] + filled + pdf[after - 1 :])


def test_changed_bytes_anywhere_in_the_file_are_found(pdf: bytes) -> None:
    for at in range(0, len(pdf), 997):
        assert_found(pdf, at, 0x01)


@pytest.mark.campaign
def test_every_changed_byte_of_a_certificate_is_found(pdf: bytes) -> None:
    for at in range(len(pdf)):
        for flip in (0x01, 0x20):
            assert_found(pdf, at, flip)


@pytest.mark.parametrize("tail", [b"\n", b"\0", b" ", b"%%EOF\n", b"\n1 0 obj\n<<>>\nendobj\n"])
def test_nothing_may_be_appended(pdf: bytes, tail: bytes) -> None:
    with pytest.raises(SealError, match="appended"):
        verify_pdf(pdf + tail)


def test_nothing_may_be_cut(pdf: bytes) -> None:
    for length in (0, 5, 9, 100, len(pdf) // 2, len(pdf) - 1):
        with pytest.raises(SealError):
            check(pdf[:length])


def test_a_certificate_without_its_signature_is_refused(unsigned: bytes) -> None:
    with pytest.raises(SealError, match="not signed"):
        verify_pdf(unsigned)


def test_a_certificate_signed_with_another_key_is_refused(unsigned: bytes) -> None:
    with pytest.raises(SealError, match="another key"):
        verify_pdf(sign_pdf(unsigned, new_signer(NOW), NOW))


def test_a_later_revision_that_shows_other_pages_is_refused(pdf: bytes) -> None:
    """An update as PDF allows it, with a catalogue of its own: a reader would show that one."""
    at = len(pdf)
    update = f"464 0 obj\n<</Type/Catalog/Pages 1 0 R>>\nendobj\nxref\n464 1\n{at:010d} 00000 n \n"
    update += f"trailer\n<</Size 469/Root 464 0 R/Prev 1>>\nstartxref\n{at + 48}\n%%EOF\n"
    with pytest.raises(SealError, match="appended"):
        verify_pdf(pdf + update.encode())


def test_a_changed_record_inside_a_newly_signed_file_is_refused(record: bytes, signer: Signer) -> None:
    """Who has the second key only cannot change what the first one sealed."""
    forged = record.replace(b'"verdict":"pass"', b'"verdict":"fail"')
    pdf = sign_pdf(certificate_pdf(forged, fingerprint=signer.fingerprint), signer, NOW)
    with pytest.raises(SealError, match="does not match its hash"):
        verify_pdf(pdf)


def test_a_record_that_was_just_checked_stands_for_its_own_bytes_alone(
    record: bytes, pdf: bytes, signer: Signer
) -> None:
    own = verify(record)
    assert verify_pdf(pdf, drawn=(record, own)) is own
    other = seal(document(wires=4).plain(), Chain("bench", 2, own.hash), signer)
    assert verify_pdf(pdf, drawn=(other, verify(other))).hash == own.hash
    stolen = sign_pdf(certificate_pdf(record, fingerprint=signer.fingerprint), new_signer(NOW), NOW)
    with pytest.raises(SealError, match="another key"):
        verify_pdf(stolen, drawn=(record, own))


@pytest.mark.parametrize(
    "hostile",
    [
        b"%PDF-1.7\n",
        b"%PDF-1.7\n/ByteRange [0 1 2 3]",
        b"%PDF-1.7\n/ByteRange [0 99999999999999999999 2 3]",
        b"%PDF-1.7\n/Contents <>/ByteRange [0 19 21 23]                 ",
        b"%PDF-1.7\n" + b"<<" * 100_000,
        b"%PDF-1.4\n" + b"x" * 100,
    ],
)
def test_a_hostile_pdf_is_refused_without_a_traceback(hostile: bytes) -> None:
    with pytest.raises(SealError):
        check(hostile)


def test_signing_is_repeatable_but_for_the_file_id(unsigned: bytes, signer: Signer) -> None:
    one, two = sign_pdf(unsigned, signer, NOW), sign_pdf(unsigned, signer, NOW)
    assert len(one) == len(two)
    verify_pdf(one)
    verify_pdf(two)


def test_another_library_finds_the_signature_whole(pdf: bytes, signer: Signer) -> None:
    import io

    der = signer.paper_certificate.public_bytes(serialization.Encoding.DER)
    from asn1crypto import x509 as asn1_x509  # type: ignore[import-untyped]  # ships no types

    trusted = ValidationContext(
        trust_roots=[asn1_x509.Certificate.load(der)], moment=NOW.replace(year=2027), allow_fetching=False
    )
    (embedded,) = PdfFileReader(io.BytesIO(pdf)).embedded_signatures
    status = validate_pdf_signature(embedded, trusted)
    assert status.intact
    assert status.valid
    assert status.coverage is SignatureCoverageLevel.ENTIRE_FILE
    assert status.modification_level in (None, ModificationLevel.NONE)


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed")
def test_openssl_verifies_the_signature(pdf: bytes, signer: Signer, tmp_path: Path) -> None:
    before, after = signature_gap(pdf)
    contents = bytes.fromhex(pdf[before + 1 : after - 1].decode())
    (tmp_path / "signed").write_bytes(pdf[:before] + pdf[after:])
    (tmp_path / "signature").write_bytes(contents)
    (tmp_path / "certificate").write_bytes(signer.paper_certificate.public_bytes(serialization.Encoding.PEM))
    command = ["openssl", "cms", "-verify", "-binary", "-inform", "DER", "-in", "signature"]
    command += ["-content", "signed", "-CAfile", "certificate", "-purpose", "any", "-partial_chain"]
    command += ["-no_check_time", "-out", "/dev/null"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    (tmp_path / "signed").write_bytes(pdf[:before] + pdf[after:] + b" ")
    assert subprocess.run(command, cwd=tmp_path, capture_output=True, check=False).returncode != 0


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed")
def test_openssl_verifies_the_seal(record: bytes, signer: Signer, tmp_path: Path) -> None:
    import json

    plain = json.loads(record)
    body = record[len(b'{"body":') : record.rindex(b',"hash":')]
    key = signer.key.public_key().public_bytes(
        serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    (tmp_path / "key").write_bytes(key)
    (tmp_path / "body").write_bytes(body)
    (tmp_path / "signature").write_bytes(bytes.fromhex(plain["seal"]["signature"]))
    command = ["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", "key", "-rawin"]
    command += ["-in", "body", "-sigfile", "signature"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr + done.stdout


@pytest.mark.skipif(shutil.which("qpdf") is None, reason="qpdf is not installed")
def test_qpdf_finds_no_error(pdf: bytes, tmp_path: Path) -> None:
    (tmp_path / "c.pdf").write_bytes(pdf)
    done = subprocess.run(
        ["qpdf", "--check", "c.pdf"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_what_pdf_a_and_pdf_ua_ask_for_survives_signing(pdf: bytes, record: bytes, tmp_path: Path) -> None:
    """Not a validation, for which no tool is at hand, but the marks that ISO 19005-3 and 14289-1 name."""
    import io

    reader = PdfReader(io.BytesIO(pdf))
    root: Any = reader.trailer["/Root"]
    metadata = root["/Metadata"].get_data().decode()
    assert re.search(r"<pdfaid:part>3</pdfaid:part>\s*<pdfaid:conformance>A<", metadata)
    assert "<pdfuaid:part>1</pdfuaid:part>" in metadata
    assert root["/OutputIntents"][0]["/S"] == "/GTS_PDFA1"
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert "/Version" not in root
    assert "/ID" in reader.trailer
    assert not reader.is_encrypted
    (attached,) = root["/AF"]
    assert attached["/AFRelationship"] == "/Source"
    assert reader.attachments["record.json"] == [record]
    for page in reader.pages:
        resources: Any = page["/Resources"]
        for font in resources["/Font"].values():
            (inner,) = font["/DescendantFonts"]
            assert {"/FontFile2", "/FontFile3"} & set(inner["/FontDescriptor"])
            assert "/ToUnicode" in font
    (field,) = root["/AcroForm"]["/Fields"]
    assert field["/F"] & 4, "printable"
    assert not field["/F"] & 2, "not hidden"


def test_the_certificate_is_a_signing_one_for_p_256(signer: Signer) -> None:
    certificate = signer.paper_certificate
    usage = certificate.extensions.get_extension_for_class(x509.KeyUsage).value
    assert usage.digital_signature
    assert usage.content_commitment
    assert not usage.key_cert_sign
    certificate.verify_directly_issued_by(certificate)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_whatever_is_done_to_a_file_it_is_refused_without_a_traceback(
    pdf: bytes, record: bytes, data: st.DataObject
) -> None:
    original = data.draw(st.sampled_from([pdf, record]))
    start = data.draw(st.integers(0, len(original) - 1))
    end = data.draw(st.integers(start, min(len(original), start + 400)))
    tricky = st.sampled_from([b"/ByteRange [0 1 2 3]", b"<", b"endobj"])
    put = data.draw(st.one_of(st.binary(max_size=40), tricky))
    broken = original[:start] + put + original[end:]
    if broken == original:
        return
    with pytest.raises(SealError):
        check(broken)
