"""The seal against the published vectors of RFC 8032 and RFC 8785, and against tampering."""

from __future__ import annotations

import json
import struct
from typing import Any

import pytest
import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from hypothesis import example, given
from hypothesis import strategies as st

import loomproof.records.canonical
from loomproof.errors import RecordError, SealError
from loomproof.records.canonical import canonical, canonical_object, read_canonical, sha256_hex
from loomproof.records.keys import Signer, fingerprint
from loomproof.records.seal import Chain, seal, verify
from loomproof.results.document import Document
from tests.reports.sample import document

# RFC 8032, section 7.1: secret key, public key, message, signature (TEST 1, 2, 3 and SHA(abc)).
ED25519 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
        "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
        "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
    (
        "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
        "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
        "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a"
        "2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f",
        "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b589"
        "09351fc9ac90b3ecfdfbc7c66431e0303dca179c138ac17ad9bef1177331a704",
    ),
]

# RFC 8785, appendix B: IEEE 754 bits and the text (inputs from memory, outputs recomputed with an
# ECMAScript formatter when the table was made).
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.fixture(scope="module")
def record(signer: Signer) -> bytes:
    return seal(document(wires=2).plain(), Chain("bench", 1), signer)


def changed(record: bytes, signer: Signer | None = None, **body: object) -> bytes:
    """The record with members of its body changed; sealed again where a signer is given."""
    plain = json.loads(record)
    plain["body"].update(body)
    if signer is not None:
        text = canonical(plain["body"])
        plain["hash"] = sha256_hex(text)
        plain["seal"]["key"] = signer.public_hex
        plain["seal"]["signature"] = signer.sign(text).hex()
    return canonical(plain)


@pytest.mark.parametrize(("secret", "public", "message", "signature"), ED25519)
def test_the_signature_scheme_is_that_of_rfc_8032(
    secret: str, public: str, message: str, signature: str, signer: Signer
) -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    test_signer = Signer(key, signer.paper_key, signer.paper_certificate, "test")
    assert test_signer.public_hex == public
    assert test_signer.sign(bytes.fromhex(message)).hex() == signature


def test_canonical_json_is_the_published_sample() -> None:
    """RFC 8785, section 3.2.2, input and output."""
    text = (
        r'{"numbers":[333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],'
        r'"string":"\u20ac$\u000F\u000aA' + "'" + r'\u0042\u0022\u005c\\\"\/", "literals":[null,true,false]}'
    )
    assert canonical(json.loads(text)).hex() == (
        "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e756d62657273223a5b33333333333333"
        "33332e333333333333332c31652b33302c342e352c302e3030322c31652d32375d2c22737472696e67223a22e282ac24"
        "5c75303030665c6e4127425c225c5c5c5c5c222f227d"
    )


def test_keys_are_sorted_by_utf_16_units() -> None:
    """RFC 8785, section 3.2.3: the keys of its sorting sample."""
    keys = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    ordered = ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]
    assert list(json.loads(canonical(dict.fromkeys(keys, "")))) == ordered


@pytest.mark.parametrize(("bits", "text"), NUMBERS.items())
def test_numbers_are_written_as_ecmascript_does(bits: str, text: str) -> None:
    assert canonical(struct.unpack(">d", bytes.fromhex(bits))[0]).decode() == text


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 2**53 + 2, "\ud800"])
def test_what_has_no_canonical_form_is_refused(value: object) -> None:
    with pytest.raises(RecordError):
        canonical({"value": value})


ANY_NUMBER = (
    st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.floats(1e-12, 1e-3)
    | st.integers(-(2**60), 2**60).map(float)
    | st.sampled_from([-0.0, 1e-4, 1e-5, 1e-6, 1e-7, 1e-9, 1e-10, 9.99e-10, 1e15, 1e16, 1e20, 1e21, 2.0**53])
)


@given(
    st.recursive(
        st.none() | st.booleans() | ANY_NUMBER | st.text(),
        lambda inner: st.lists(inner) | st.tuples(inner) | st.dictionaries(st.text(max_size=3), inner),
        max_leaves=12,
    )
)
@example({"\u20ac": 1, "\U0001f600": 2, "\ufb33": 3})
@example(["".join(map(chr, (*range(0x30), 0x7F, 0x80, 0x2028, 0xFFFF)))])
def test_the_canonical_form_is_that_of_a_library_of_its_own(plain: Any) -> None:
    """The package rfc8785 follows the RFC's reference implementation."""
    assert canonical(plain) == rfc8785.dumps(plain)


def test_an_object_of_canonical_members_is_canonical() -> None:
    members: dict[str, object] = {"hash": "ä", "body": {"b": [1.0, -0.0], "a": None}, "seal": {}}
    made = canonical_object({name: canonical(value) for name, value in members.items()})
    assert made == canonical(members)


def test_a_record_is_made_canonical_once_however_often_it_is_checked(
    signer: Signer, monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[int] = []
    dumps = loomproof.records.canonical._dumps

    def counted(plain: Any) -> bytes:
        made = dumps(plain)
        written.append(len(made))
        return made

    monkeypatch.setattr("loomproof.records.canonical._dumps", counted)
    made = seal(document().plain(), Chain("a bench of its own", 1), signer)
    for _ in range(3):
        verify(made)
    assert sum(size > len(made) / 2 for size in written) == 1
    # What differs from it in one blank is looked at anew, and again each time.
    for _ in range(2):
        with pytest.raises(SealError, match="not in canonical form"):
            read_canonical(made.replace(b'"body":', b'"body": ', 1), "record")


def test_a_sealed_record_verifies_and_gives_its_document_back(record: bytes, signer: Signer) -> None:
    verified = verify(record, {signer.public_hex: "the shop"})
    assert (verified.standing, verified.signer) == ("genuine", "the shop")
    assert verified.document() == document(wires=2)
    assert verified.chain == Chain("bench", 1)
    assert verified.fingerprint == fingerprint(signer.public_hex)


def test_an_unknown_key_is_never_called_genuine(record: bytes) -> None:
    assert verify(record).standing == "intact, signer unknown"


def test_every_changed_byte_is_found(record: bytes, signer: Signer) -> None:
    known = {signer.public_hex: "the shop"}
    for at in range(len(record)):
        broken = bytearray(record)
        broken[at] ^= (0x01, 0x20, 0x80)[at % 3]
        with pytest.raises(SealError):
            verify(bytes(broken), known)


def test_every_cut_and_every_addition_is_found(record: bytes) -> None:
    for at in range(0, len(record), 7):
        with pytest.raises(SealError):
            verify(record[:at])
        with pytest.raises(SealError):
            verify(record[:at] + b" " + record[at:])
    for tail in (b"\n", b" ", b"\0", b"{}", record):
        with pytest.raises(SealError):
            verify(record + tail)


def test_the_place_of_a_change_is_named(record: bytes) -> None:
    with pytest.raises(SealError, match=r"^loom\.json: byte 8: ") as caught:
        verify(record[:7] + b" " + record[7:], name="loom.json")
    assert caught.value.cure


def test_a_changed_verdict_does_not_pass(record: bytes) -> None:
    plain = document().plain() | {"verdict": "pass"}
    with pytest.raises(SealError, match="does not match its hash"):
        verify(changed(record, document=plain))


def test_a_seal_taken_from_another_record_does_not_pass(record: bytes, signer: Signer) -> None:
    other = json.loads(seal(document(run="other").plain(), Chain("bench", 1), signer))
    mixed = json.loads(record) | {"seal": other["seal"]}
    with pytest.raises(SealError, match="signature"):
        verify(canonical(mixed))


@pytest.mark.parametrize("secret", [secret for secret, *_ in ED25519])
def test_published_test_keys_are_refused(record: bytes, secret: str, signer: Signer) -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    forged = changed(record, Signer(key, signer.paper_key, signer.paper_certificate, "x"))
    with pytest.raises(SealError, match="published test key"):
        verify(forged)


@pytest.mark.parametrize(
    "hostile",
    [
        b"",
        b"\xff\xfe",
        b"null",
        b"[]",
        b"{}",
        b'{"a":1,"a":1}',
        b'{"a":NaN}',
        b'{"a":1e999}',
        b'{"a":-0}',
        b'{"a":"\\ud800"}',
        b'{"a":' + b"9" * 5000 + b"}",
        b"[" * 100_000,
        b'{"a":' * 50_000,
        b'{"body":1,"hash":2,"seal":3}',
        b'{"body":{},"hash":"","seal":{}}',
        b'{"body":{},"hash":"","seal":{"algorithm":"","key":"","signature":""}}',
    ],
)
def test_hostile_json_is_refused_without_a_traceback(hostile: bytes) -> None:
    with pytest.raises(SealError):
        verify(hostile)


@pytest.mark.parametrize(
    "chain",
    [
        {"bench": "b", "sequence": 0, "previous": None},
        {"bench": "b", "sequence": 1, "previous": "00" * 32},
        {"bench": "b", "sequence": 2, "previous": None},
        {"bench": "b", "sequence": 2, "previous": "AA" * 32},
        {"bench": "b", "sequence": True, "previous": None},
        {"bench": 7, "sequence": 1, "previous": None},
        {"bench": "b", "sequence": 1},
        [],
    ],
)
def test_a_chain_that_cannot_be_is_refused(record: bytes, signer: Signer, chain: object) -> None:
    with pytest.raises(SealError):
        verify(changed(record, signer, chain=chain))


def test_a_record_of_a_newer_format_is_refused_with_a_cure(record: bytes, signer: Signer) -> None:
    with pytest.raises(SealError, match="format is 2") as caught:
        verify(changed(record, signer, format=2))
    assert "newer loomproof" in caught.value.cure


@pytest.mark.parametrize(
    "body",
    [
        {"kind": "something new"},
        {"kind": 1},
        {"paper": 1},
        {"paper": {}},
        {"paper": {"certificate": "AA" * 32}},
        {"surprise": 1},
    ],
)
def test_a_body_that_this_version_does_not_know_is_refused(
    record: bytes, signer: Signer, body: dict[str, object]
) -> None:
    with pytest.raises(SealError):
        verify(changed(record, signer, **body))


def test_a_sealed_document_that_this_version_cannot_read_says_so(record: bytes, signer: Signer) -> None:
    verified = verify(changed(record, signer, document={"schema": 9}))
    with pytest.raises(SealError, match="the seal holds"):
        verified.document()


def test_upper_case_hex_is_refused(record: bytes) -> None:
    plain = json.loads(record)
    plain["seal"]["signature"] = plain["seal"]["signature"].upper()
    with pytest.raises(SealError, match="lower-case hex"):
        verify(canonical(plain))


def test_a_stranger_needs_only_sha_256_and_ed25519(record: bytes) -> None:
    """What NOTES.md says of checking by hand, done with nothing of ours."""
    plain = json.loads(record)
    body = json.dumps(plain["body"], ensure_ascii=False, separators=(",", ":"), sort_keys=True).encode()
    at = record.index(b'"hash":')
    assert record[len(b'{"body":') : at - 1] == body
    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(plain["seal"]["key"]))
    key.verify(bytes.fromhex(plain["seal"]["signature"]), body)
    with pytest.raises(InvalidSignature):
        key.verify(bytes.fromhex(plain["seal"]["signature"]), body + b" ")


def test_document_values_survive_the_round_trip(record: bytes) -> None:
    assert Document.model_validate(json.loads(record)["body"]["document"]) == document(wires=2)
