"""The bench's keys: made at first use, readable by their owner only, replaceable, never overwritten.

One file holds all that must be kept together: the Ed25519 key that seals records (RFC 8032), the ECDSA
P-256 key that signs certificates as PDF and its self-signed X.509 certificate (ordinary PDF readers do
not know Ed25519), and the station's name, which keeps two computers' chains apart.
"""

from __future__ import annotations

import contextlib
import datetime
import os
import secrets
import sys
import tempfile
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.x509.oid import NameOID

from loomproof.errors import StoreError, Todo
from loomproof.records.canonical import sha256_hex

_STATION = "Station: "
_YEARS = 50


def fingerprint(public_hex: str) -> str:
    """Return the printable fingerprint of a public key: the first 128 bits of its SHA-256, in fours."""
    digest = sha256_hex(bytes.fromhex(public_hex))[:32]
    return " ".join(digest[at : at + 4] for at in range(0, 32, 4))


@dataclass(frozen=True)
class Signer:
    """Keys in use. ``station`` tells one computer's chain of records from another's."""

    key: Ed25519PrivateKey
    paper_key: ec.EllipticCurvePrivateKey
    paper_certificate: x509.Certificate
    station: str

    @cached_property
    def public_hex(self) -> str:
        """The public Ed25519 key as 64 lower-case hex digits."""
        return self.key.public_key().public_bytes_raw().hex()

    @cached_property
    def fingerprint(self) -> str:
        """The printable fingerprint of the public key."""
        return fingerprint(self.public_hex)

    @cached_property
    def paper_hex(self) -> str:
        """SHA-256 of the PDF certificate (DER) as 64 lower-case hex digits; sealed into every record."""
        return sha256_hex(self.paper_certificate.public_bytes(serialization.Encoding.DER))

    def sign(self, message: bytes) -> bytes:
        """Return the Ed25519 signature (64 bytes) of a message."""
        return self.key.sign(message)

    def pem(self) -> bytes:
        """Return all of it as one text: private keys unencrypted, certificate, station."""
        plain = serialization.NoEncryption()
        form = serialization.PrivateFormat.PKCS8
        return b"".join(
            (
                f"{_STATION}{self.station}\n".encode(),
                self.key.private_bytes(serialization.Encoding.PEM, form, plain),
                self.paper_key.private_bytes(serialization.Encoding.PEM, form, plain),
                self.paper_certificate.public_bytes(serialization.Encoding.PEM),
            )
        )


def new_signer(now: datetime.datetime, station: str = "") -> Signer:
    """Make fresh keys; ``now`` (with time zone) begins the certificate's validity of fifty years."""
    key = Ed25519PrivateKey.generate()
    paper_key = ec.generate_private_key(ec.SECP256R1())
    name = station or secrets.token_hex(4)
    owner = x509.Name(
        [
            x509.NameAttribute(NameOID.COMMON_NAME, f"loomproof station {name}"),
            x509.NameAttribute(NameOID.SERIAL_NUMBER, key.public_key().public_bytes_raw().hex()),
        ]
    )
    begin = now.astimezone(datetime.UTC).replace(microsecond=0)
    usage = x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )
    certificate = (
        x509.CertificateBuilder()
        .subject_name(owner)
        .issuer_name(owner)
        .public_key(paper_key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begin)
        .not_valid_after(begin + datetime.timedelta(days=365.25 * _YEARS))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(paper_key.public_key()), critical=False)
        .sign(paper_key, hashes.SHA256())
    )
    return Signer(key, paper_key, certificate, name)


def read_signer(pem: bytes, name: str = "key file") -> Signer:
    """Read what `Signer.pem` wrote; `StoreError` names the file where it is something else."""
    cure = "Restore the file from a backup, or make a new key."
    try:
        text = pem.decode("ascii")
        first, _, rest = text.partition("\n")
        if not first.startswith(_STATION):
            raise ValueError("its first line must name the station")
        blocks = [block + "\n" for block in _pem_blocks(rest)]
        if len(blocks) != 3:
            raise ValueError(f"three PEM blocks were expected, {len(blocks)} found")
        key = serialization.load_pem_private_key(blocks[0].encode(), None)
        paper_key = serialization.load_pem_private_key(blocks[1].encode(), None)
        certificate = x509.load_pem_x509_certificate(blocks[2].encode())
        if not isinstance(key, Ed25519PrivateKey) or not isinstance(paper_key, ec.EllipticCurvePrivateKey):
            raise ValueError("an Ed25519 key and then an elliptic curve key were expected")
        if certificate.public_key() != paper_key.public_key():
            raise ValueError("its certificate belongs to another key")
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise StoreError(f"{name}: no key of this program: {error}", cure=cure, do=Todo.NEW_KEY) from error
    return Signer(key, paper_key, certificate, first.removeprefix(_STATION).strip())


def _pem_blocks(text: str) -> list[str]:
    blocks, block = [], []
    for line in text.splitlines():
        block.append(line)
        if line.startswith("-----END "):
            blocks.append("\n".join(block))
            block = []
    return blocks


class KeyFolder:
    """The keys of one data folder: the key in use, and the ones that were replaced."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "keys"
        self.path = self.folder / "current.pem"

    def signer(self, now: datetime.datetime) -> Signer:
        """Return the key in use, made now where there is none yet.

        Safe with several processes: whoever comes second takes the first one's key. `StoreError` where
        others may read the file, for then it is no longer the owner's alone.
        """
        if not self.path.exists():
            self._place(new_signer(now).pem())
        return self._read()

    def in_use(self) -> Signer:
        """Return the key in use; `StoreError` where there is none."""
        return self._read()

    def replace(self, now: datetime.datetime, signer: Signer | None = None) -> Signer:
        """Put a new key (or the given one) in place of the key in use, which is kept beside it.

        The station stays, so that the chain of records goes on under the new key. Works also where the key
        in use is one that `signer` refuses: readable by others, or damaged.
        """
        old = None
        if self.path.exists():
            try:
                old = read_signer(self.path.read_bytes(), str(self.path))
            except StoreError:
                self.path.replace(self.path.with_name(f"damaged-{secrets.token_hex(4)}"))
        fresh = signer or new_signer(now, old.station if old else "")
        if old is not None:
            kept = self.folder / f"replaced-{sha256_hex(bytes.fromhex(old.public_hex))[:16]}.pem"
            if not kept.exists():
                self._write(kept, old.pem())
        self._write(self.path, fresh.pem())
        return fresh

    def paper_signer(self, certificate: str) -> Signer | None:
        """Return the keys, in use or replaced, whose PDF certificate has this fingerprint (SHA-256, hex)."""
        for path in sorted(self.folder.glob("*.pem")):
            signer = read_signer(path.read_bytes(), str(path))
            if signer.paper_hex == certificate:
                return signer
        return None

    def own_keys(self) -> dict[str, str]:
        """Return the public keys (hex) of this folder, in use and replaced, with a word for each."""
        found: dict[str, str] = {}
        if self.folder.is_dir():
            for path in sorted(self.folder.glob("*.pem")):
                signer = read_signer(path.read_bytes(), str(path))
                word = "this station" if path == self.path else "this station, a replaced key"
                found[signer.public_hex] = f"{word} ({signer.station})"
        return found

    def _read(self) -> Signer:
        try:
            if sys.platform != "win32" and self.path.stat().st_mode & 0o077:
                raise StoreError(
                    f"{self.path}: others may read this key, so a seal made with it proves nothing",
                    cure="If nobody else has used this computer: chmod 600 on the file. Else make a new key.",
                    do=Todo.NEW_KEY,
                )
            pem = self.path.read_bytes()
        except StoreError:
            raise
        except OSError as error:
            raise StoreError(f"{self.path}: cannot be read: {error.strerror}") from error
        return read_signer(pem, str(self.path))

    def _place(self, pem: bytes) -> None:
        """Write the key in use unless somebody else just did."""
        temporary = self._temporary(pem)
        try:
            with contextlib.suppress(FileExistsError):
                if sys.platform == "win32":
                    temporary.rename(self.path)
                else:
                    os.link(temporary, self.path)
        except OSError as error:
            raise StoreError(f"{self.path}: cannot be written: {error.strerror}") from error
        finally:
            temporary.unlink(missing_ok=True)

    def _write(self, path: Path, pem: bytes) -> None:
        temporary = self._temporary(pem)
        try:
            temporary.replace(path)
        except OSError as error:
            temporary.unlink(missing_ok=True)
            raise StoreError(f"{path}: cannot be written: {error.strerror}") from error

    def _temporary(self, pem: bytes) -> Path:
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            # mkstemp gives owner-only rights from the start, whatever the umask.
            handle, name = tempfile.mkstemp(dir=self.folder, prefix=".new-")
            with os.fdopen(handle, "wb") as file:
                file.write(pem)
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise StoreError(
                f"{self.folder}: keys cannot be kept here: {error.strerror}",
                cure="Name another data folder in LOOMPROOF_HOME.",
            ) from error
        return Path(name)
