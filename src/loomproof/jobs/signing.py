"""The key that this station signs with, and the signers that its person knows."""

from __future__ import annotations

from pathlib import Path

from loomproof.errors import StoreError, UsageError
from loomproof.jobs.files import now, write_file
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder, Signer, fingerprint, read_signer
from loomproof.records.seal import Verified
from loomproof.records.signers import KnownSigners
from loomproof.records.verify_file import check_file

__all__ = ["Signer", "Station", "fingerprint"]


class Station:
    """The keys and known signers of a person's data folder.

    Methods raise `StoreError` for a key or a list that cannot be read or written.
    """

    def __init__(self) -> None:
        self._keys = KeyFolder(home())
        self._known = KnownSigners(home())

    @property
    def folder(self) -> Path:
        """Where the key is kept."""
        return self._keys.path

    def signer(self) -> Signer:
        """Return the key in use; one is made where there is none yet."""
        return self._keys.signer(now())

    @property
    def lines(self) -> tuple[str, ...]:
        """What is to be known of the key in use, a line each."""
        signer = self.signer()
        return (
            f"fingerprint  {signer.fingerprint}",
            f"public key   {signer.public_hex}",
            f"station      {signer.station}",
            f"kept in      {self.folder}",
        )

    def export(self, file: Path) -> None:
        """Write the secret key to a file for its owner only. Raises `UsageError` for one that is there."""
        if file.exists():
            raise UsageError(f"{file}: there is a file already", cure="Name another one.")
        write_file(file, self.signer().pem(), private=True)

    def replace(self, given: Path | None = None) -> Signer:
        """Put a new key, or the one in a file, in place; the old one is kept, and its seals still hold.

        Raises `UsageError` where the file holds no key.
        """
        try:
            signer = None if given is None else read_signer(given.read_bytes(), str(given))
        except StoreError as error:
            raise UsageError(
                error.message, cure="Give a key file: current.pem of a data folder, or one that was replaced."
            ) from error
        except OSError as error:
            raise UsageError(f"{given} cannot be read: {error.strerror}") from error
        return self._keys.replace(now(), signer)

    def known(self) -> dict[str, str]:
        """Return the signers that are known: public key to name."""
        return dict(self._known.all())

    def know(self, name: str, what: str) -> str:
        """Add a signer by a public key, or by a record or certificate file of theirs; return the fingerprint.

        Raises `RecordError` for a file that does not hold, `UsageError` for what is no key.
        """
        public = check_file(Path(what)).key if Path(what).is_file() else what
        self._known.add(public, name)
        return fingerprint(public.strip().lower())

    def forget(self, name: str) -> None:
        """Take a signer out by name or key. Raises `UsageError` where there is none."""
        self._known.remove(name)

    def check_file(self, file: Path) -> Verified:
        """Check a certificate or a sealed record by the signers that are known. Raises `RecordError`."""
        return check_file(file, self.known())
