"""The sealed record: canonical JSON, a content hash, a chain and an Ed25519 signature.

    {"body": {"format": 1, "kind": "proof", "chain": {…}, "document": {…}, …},
     "hash": SHA-256 of the canonical body, "seal": {"algorithm", "key", "signature"}}

The signature is over the canonical body, which holds the format and the kind, so nothing sealed for one
purpose passes for another. NOTES.md beside this file tells a stranger how to check one by hand.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from pydantic import ValidationError

from loomproof.errors import SealError, UsageError
from loomproof.records.canonical import canonical, canonical_object, read_canonical, sha256_hex
from loomproof.records.keys import Signer, fingerprint
from loomproof.results.codec import fault_of
from loomproof.results.document import Document

FORMAT = 1
ALGORITHM = "Ed25519"
KINDS = ("proof", "correction")
LABEL = "LOOMPROOF"
"""What the text on a label begins with; hash and fingerprint follow, parted by colons."""

PUBLISHED_KEYS = frozenset(
    {
        # RFC 8032, section 7.1: the private halves are printed there, so these sign for anybody.
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "278117fc144c72340f67d0f2316e8386ceffbf2b2428c9c51fef7c597f1d426e",
        "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
    }
)

_HEX_32 = re.compile(r"[0-9a-f]{64}\Z")
_HEX_64 = re.compile(r"[0-9a-f]{128}\Z")


@dataclass(frozen=True, slots=True)
class Chain:
    """A record's place among those of one bench; ``previous`` is the hash before it, "" for the first."""

    bench: str
    sequence: int
    previous: str = ""

    def plain(self) -> dict[str, object]:
        """Return the place as plain JSON values."""
        return {"bench": self.bench, "sequence": self.sequence, "previous": self.previous or None}


@dataclass(frozen=True, slots=True)
class Met:
    """The heads of other chains as a record names them, and in which store (its own name) they were met."""

    store: str
    heads: tuple[Chain, ...] = ()
    """Each with the head's own hash in place of the one before it."""

    def plain(self) -> dict[str, object]:
        """Return it as plain JSON values."""
        heads = [{"bench": h.bench, "sequence": h.sequence, "record": h.previous} for h in self.heads]
        return {"store": self.store, "heads": heads}


@dataclass(frozen=True)
class Verified:
    """A record whose seal holds. ``signer`` is the name under which the key is known, "" for unknown."""

    body: Mapping[str, object]
    hash: str
    key: str
    chain: Chain
    kind: str
    signer: str = ""
    extras: Mapping[str, object] = field(default_factory=dict)

    @property
    def fingerprint(self) -> str:
        """The printable fingerprint of the key that sealed it."""
        return fingerprint(self.key)

    @property
    def paper(self) -> str:
        """SHA-256 (hex) of the certificate that signs this record's PDF, "" where the record names none."""
        paper = self.body.get("paper")
        stated = paper.get("certificate") if isinstance(paper, dict) else None
        return stated if isinstance(stated, str) else ""

    @property
    def corrects(self) -> str:
        """Which record this one corrects, and why; "" for one that corrects none."""
        told = self.body.get("corrects")
        return f"record {told.get('record')}: {told.get('why')}" if isinstance(told, dict) else ""

    @property
    def remarks(self) -> tuple[str, ...]:
        """What was odd about its times when it was sealed, such as a clock that went back; sealed with it."""
        told = self.body.get("remarks")
        return tuple(map(str, told)) if isinstance(told, list | tuple) else ()

    @property
    def met(self) -> Met | None:
        """The heads of other chains that its bench met; ``None`` for a record that says nothing of them."""
        told = self.body.get("met")
        if not isinstance(told, dict):
            return None
        heads = (Chain(str(h["bench"]), int(h["sequence"]), str(h["record"])) for h in told["heads"])
        return Met(str(told["store"]), tuple(heads))

    @property
    def link(self) -> str:
        """What a QR code carries: the record's hash and the signer's fingerprint (capitals keep it small)."""
        return f"{LABEL}:{self.hash.upper()}:{self.fingerprint.replace(' ', '').upper()}"

    @property
    def standing(self) -> str:
        """``genuine`` where the signer is known, else ``intact, signer unknown``."""
        return "genuine" if self.signer else "intact, signer unknown"

    def document(self) -> Document:
        """Return the sealed results document; `SealError` where this version cannot read it."""
        try:
            return Document.model_validate(self.body.get("document"))
        except ValidationError as error:
            raise SealError(
                f"the seal holds, but this version cannot read the document: {fault_of(error)}",
                cure="It was sealed by another version of loomproof; use that one, or a newer one.",
            ) from error


def seal(
    document: Mapping[str, object],
    chain: Chain,
    signer: Signer,
    *,
    kind: str = "proof",
    extras: Mapping[str, object] | None = None,
) -> bytes:
    """Return the sealed record (canonical JSON, UTF-8) of a document in plain values.

    ``extras`` are further members of the body (repairs before this proof, remarks).
    """
    body: dict[str, object] = {
        **(extras or {}),
        "format": FORMAT,
        "kind": kind,
        "chain": chain.plain(),
        "document": dict(document),
        "paper": {"certificate": signer.paper_hex},
    }
    text = canonical(body)
    mark = {"algorithm": ALGORITHM, "key": signer.public_hex, "signature": signer.sign(text).hex()}
    return canonical_object({"body": text, "hash": canonical(sha256_hex(text)), "seal": canonical(mark)})


def verify(data: bytes, known_signers: Mapping[str, str] | None = None, name: str = "record") -> Verified:
    """Check a sealed record; `SealError` names ``name``, the place and what is wrong there.

    ``known_signers`` maps public keys (hex) to names. Needs neither store nor network.
    """
    plain = read_canonical(data, name)
    _keys(plain, {"body", "hash", "seal"}, set(), name, "the record")
    body, mark = _object(plain, "body", name), _object(plain, "seal", name)
    _keys(mark, {"algorithm", "key", "signature"}, set(), name, "seal")
    _keys(body, {"format", "kind", "chain", "document"}, set(_OPTIONAL), name, "body")
    if body["format"] != FORMAT or isinstance(body["format"], bool):
        raise SealError(
            f"{name}: body.format is {body['format']!r}; this version reads format {FORMAT}",
            cure="Use a newer loomproof, if it was sealed by one.",
        )
    if body["kind"] not in KINDS:
        raise SealError(
            f"{name}: body.kind is {body['kind']!r}; this version knows {' and '.join(KINDS)}",
            cure="Use a newer loomproof, if it was sealed by one.",
        )
    if mark["algorithm"] != ALGORITHM:
        raise SealError(f"{name}: seal.algorithm is {mark['algorithm']!r}; {ALGORITHM!r} was expected")
    stated = _hex(plain, "hash", _HEX_32, name)
    key = _hex(mark, "key", _HEX_32, name)
    signature = _hex(mark, "signature", _HEX_64, name)
    # The whole is canonical, so the body's own canonical text stands in it, before the last "hash".
    text = data[len(b'{"body":') : data.rindex(b',"hash":')]
    if sha256_hex(text) != stated:
        raise SealError(
            f"{name}: the content does not match its hash: hash says {stated[:16]}…, "
            f"the content has {sha256_hex(text)[:16]}…",
            cure="The content was changed after it was sealed. Ask the signer for it again.",
        )
    if key in PUBLISHED_KEYS:
        raise SealError(
            f"{name}: seal.key is a published test key (RFC 8032), with which anybody can sign",
            cure="Ask for a record sealed with a key of the signer's own.",
        )
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(bytes.fromhex(signature), text)
    except (InvalidSignature, ValueError) as error:
        raise SealError(
            f"{name}: seal.signature was not made by the key {fingerprint(key)} over this content",
            cure="The seal was changed or taken from another record. Ask the signer for it again.",
        ) from error
    return Verified(
        body=body,
        hash=stated,
        key=key,
        chain=_chain(body, name),
        kind=str(body["kind"]),
        signer=(known_signers or {}).get(key, ""),
        extras={member: body[member] for member in body if member in _OPTIONAL},
    )


_OPTIONAL = ("paper", "mended", "remarks", "corrects", "met")


def _chain(body: Mapping[str, object], name: str) -> Chain:
    """Return the chain's place; refuses also a body whose other members have no shape to be read by."""
    if "paper" in body:
        paper = _object(body, "paper", name)
        _keys(paper, {"certificate"}, set(), name, "paper")
        _hex(paper, "certificate", _HEX_32, name)
    if "met" in body:
        _met(_object(body, "met", name), name)
    chain = _object(body, "chain", name)
    _keys(chain, {"bench", "sequence", "previous"}, set(), name, "chain")
    bench, sequence, previous = chain["bench"], chain["sequence"], chain["previous"]
    if not isinstance(bench, str) or not isinstance(sequence, int) or isinstance(sequence, bool):
        raise SealError(f"{name}: chain must name a bench and a whole number")
    if sequence < 1 or (previous is None) != (sequence == 1):
        raise SealError(f"{name}: chain.sequence is {sequence} and chain.previous is {previous!r}")
    if previous is not None:
        _hex(chain, "previous", _HEX_32, name)
    return Chain(bench, sequence, str(previous or ""))


def _met(met: Mapping[str, object], name: str) -> None:
    _keys(met, {"store", "heads"}, set(), name, "met")
    heads = met["heads"]
    if not isinstance(met["store"], str) or not isinstance(heads, list):
        raise SealError(f"{name}: met must name a store and a list of heads")
    for head in heads:
        if not isinstance(head, dict):
            raise SealError(f"{name}: met.heads: an object was expected, {type(head).__name__} found")
        _keys(head, {"bench", "sequence", "record"}, set(), name, "met.heads")
        sequence = head["sequence"]
        if not isinstance(head["bench"], str) or isinstance(sequence, bool) or not isinstance(sequence, int):
            raise SealError(f"{name}: met.heads must name a bench and a whole number each")
        _hex(head, "record", _HEX_32, name)


def _object(parent: Mapping[str, object], member: str, name: str) -> dict[str, object]:
    value = parent.get(member)
    if not isinstance(value, dict):
        raise SealError(f"{name}: {member}: an object was expected, {type(value).__name__} found")
    return value


def _keys(value: Mapping[str, object], needed: set[str], may: set[str], name: str, place: str) -> None:
    missing, strange = needed - set(value), set(value) - needed - may
    if missing:
        raise SealError(
            f"{name}: {place} lacks {', '.join(sorted(missing))}; this is no loomproof record",
            cure="Give the file that ends with .record.json, or a certificate as PDF.",
        )
    if strange:
        raise SealError(f"{name}: {place} has what this format does not know: {', '.join(sorted(strange))}")


def _hex(parent: Mapping[str, object], member: str, form: re.Pattern[str], name: str) -> str:
    value = parent.get(member)
    if not isinstance(value, str) or not form.match(value):
        raise SealError(f"{name}: {member}: lower-case hex of the right length was expected")
    return value


def correcting(wrong: Verified, why: str, more: Mapping[str, object] | None = None) -> Mapping[str, object]:
    """Return what the record of a correction says besides its document. Raises `UsageError` for no reason."""
    if not why.strip():
        raise UsageError("a correction without a reason says nothing", cure="Say why.")
    # What was told of the time before the proof stays told.
    told = {member: value for member, value in wrong.extras.items() if member in ("mended", "remarks")}
    return {**told, "corrects": {**(more or {}), "record": wrong.hash, "why": why}}
