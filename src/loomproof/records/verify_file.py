"""Checking what somebody hands over: a certificate as PDF, or a sealed record as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from loomproof.errors import StoreError
from loomproof.records.canonical import MOST_BYTES
from loomproof.records.seal import Verified, verify


def check_file(path: Path, known_signers: Mapping[str, str] | None = None) -> Verified:
    """Check a file; `SealError` where it does not verify, `StoreError` where it cannot be read."""
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise StoreError(f"{path}: cannot be read: {error.strerror}") from error
    return check(data, known_signers, str(path))


def check(data: bytes, known_signers: Mapping[str, str] | None = None, name: str = "file") -> Verified:
    """Check a PDF or JSON, told apart by its first bytes; ``known_signers`` maps public keys to names.

    What begins as neither is taken for what its name says.
    """
    if data.startswith(b"%PDF") or (name.lower().endswith(".pdf") and not data.startswith(b"{")):
        from loomproof.records.pdf_verify import verify_pdf

        return verify_pdf(data, known_signers, name)
    return verify(data, known_signers, name)
