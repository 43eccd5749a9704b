"""The list of known signers that a person keeps: public keys, and whose they are.

One line for each: the public key in hex, a blank, the name. Only what stands here is called genuine.
"""

from __future__ import annotations

import re
from pathlib import Path

from loomproof.errors import StoreError, Todo, UsageError
from loomproof.records.keys import KeyFolder
from loomproof.records.seal import PUBLISHED_KEYS

_LINE = re.compile(r"(?P<key>[0-9a-f]{64}) +(?P<name>\S.*)\Z")


class KnownSigners:
    """Known signers of one data folder: the written list, and the folder's own keys."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.path = folder / "signers.txt"

    def listed(self) -> dict[str, str]:
        """Return the written list, key to name; `StoreError` names a line that cannot be read."""
        try:
            text = self.path.read_text(encoding="utf-8") if self.path.exists() else ""
        except (OSError, UnicodeError) as error:
            raise StoreError(f"{self.path}: cannot be read: {error}") from error
        found: dict[str, str] = {}
        for number, line in enumerate(text.splitlines(), 1):
            if not line.strip() or line.startswith("#"):
                continue
            match = _LINE.match(line.strip())
            if match is None:
                raise StoreError(
                    f"{self.path}, line {number}: not a public key (64 hex digits) and a name",
                    cure="Mend or delete the line.",
                )
            found[match["key"]] = match["name"]
        return found

    def all(self) -> dict[str, str]:
        """Return every key that counts as known: the written list and the folder's own keys."""
        return {**KeyFolder(self._folder).own_keys(), **self.listed()}

    def add(self, key: str, name: str) -> None:
        """Write a key and its name into the list; `UsageError` where either cannot be."""
        cleaned = key.strip().lower()
        if not re.fullmatch(r"[0-9a-f]{64}", cleaned):
            raise UsageError(f"{key!r} is not a public key", cure="It has 64 hex digits.")
        if cleaned in PUBLISHED_KEYS:
            raise UsageError("this is a published test key (RFC 8032): anybody can sign with it")
        if not name.strip() or not name.isprintable():
            raise UsageError("a signer needs a name that can be printed")
        self._save({**self.listed(), cleaned: name.strip()})

    def remove(self, name: str) -> None:
        """Take a signer out by name or key; `UsageError` where there is none."""
        known = self.listed()
        kept = {key: who for key, who in known.items() if name not in (key, who)}
        if kept == known:
            raise UsageError(f"{name!r} is not in {self.path}", do=Todo.SIGNERS)
        self._save(kept)

    def _save(self, known: dict[str, str]) -> None:
        lines = ["# Signers that this person knows: public key (Ed25519, hex) and name."]
        lines += [f"{key} {name}" for key, name in sorted(known.items(), key=lambda pair: pair[1])]
        try:
            self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            temporary = self.path.with_suffix(".new")
            temporary.write_text("\n".join(lines) + "\n", encoding="utf-8")
            temporary.replace(self.path)
        except OSError as error:
            raise StoreError(f"{self.path}: cannot be written: {error.strerror}") from error
