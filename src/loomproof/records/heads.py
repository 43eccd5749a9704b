"""How far each store had come when it was last written: a small file beside the keys, signed with them.

A store that lost its newest runs, or an older copy of it put back, is whole in itself. What shows it is kept
outside: for each store the last record of each chain, and for each table that grows how far it had grown and
what was in it; how long ``started.jsonl`` was, and with what; and which keys signed here. The file is written
whole each time. Whoever has neither the key nor an older copy of the file cannot make it fit.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from loomproof.errors import SealError, StoreError
from loomproof.records.canonical import canonical, read_canonical, sha256_hex
from loomproof.records.keys import Signer
from loomproof.records.seal import Chain
from loomproof.records.unfinished_runs import STARTED

HEADS = "heads.json"
"""The file's name in the person's data folder."""
FORMAT = 1


@dataclass(frozen=True, slots=True)
class Grown:
    """How far a table had grown: its last id, and a digest over all rows up to it, one after the other."""

    last: int = 0
    digest: str = ""


@dataclass(frozen=True, slots=True)
class Head:
    """The last record of one chain in one store, and the first, by which the store is known again."""

    bench: str
    sequence: int
    hash: str
    run: str
    first: str


@dataclass(frozen=True, slots=True)
class StoreHeads:
    """One store as it was when it was last written: its name for itself, where it was, what was in it.

    ``found`` is how many runs of this account it held already when it was noted for the first time, which
    nothing here vouches for. ``announced`` are digests of rows without seals that a command here was about to
    add. ``outside`` are, by table, the first and last number of rows that none announced and that are not in
    the digest over it; ``others`` how many such rows are, where other accounts use the store.
    """

    identity: str
    place: str
    heads: tuple[Head, ...] = ()
    grown: Mapping[str, Grown] | None = None
    found: int = 0
    announced: tuple[str, ...] = ()
    outside: Mapping[str, tuple[tuple[int, int], ...]] | None = None
    others: Mapping[str, int] | None = None


@dataclass(frozen=True, slots=True)
class KeptFile:
    """A file of lines beside the keys as it was noted; ``announced``, ``outside`` as for a store's rows."""

    grown: Grown = Grown()
    announced: tuple[str, ...] = ()
    outside: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Heads:
    """What the file says. ``keys`` are the public keys (hex) that signed it, in the order of their use.

    ``files`` are those of what benches were found to be (`kept_files`), by their names.
    """

    keys: tuple[str, ...] = ()
    started: Grown = Grown()
    stores: tuple[StoreHeads, ...] = ()
    files: Mapping[str, KeptFile] | None = None


def grown_by(before: Grown, rows: Sequence[Sequence[object]]) -> Grown:
    """Return how far a table has grown with further rows, each with its id first."""
    last, digest = before.last, before.digest
    for row in rows:
        said = json.dumps(list(row), ensure_ascii=True, separators=(",", ":"))
        last, digest = int(str(row[0])), sha256_hex(f"{digest}{said}".encode())
    return Grown(last, digest)


def read_heads(folder: Path) -> Heads | None:
    """Return what the file says, ``None`` where there is none.

    `SealError` where it was changed or is signed by a key that it does not name last; `StoreError` where it
    cannot be read.
    """
    path = folder / HEADS
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise StoreError(
            f"{path}: cannot be read: {error.strerror}", cure="Give yourself the right to read it."
        ) from error
    try:
        plain = read_canonical(data, str(path))
        body, key = plain["body"], str(plain["key"])
        assert isinstance(body, dict)
        signed = canonical(body)
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(
            bytes.fromhex(str(plain["signature"])), signed
        )
        found = _heads(body)
        if not found.keys or found.keys[-1] != key:
            raise ValueError("it is signed with another key than it names")
    except (SealError, InvalidSignature, AssertionError, KeyError, TypeError, ValueError) as error:
        raise SealError(
            f"{path}: it was changed since it was written, so it no longer tells whether runs are missing",
            cure="Put it back from a backup of the data folder.",
        ) from error
    return found


def heads_that_hold(folder: Path) -> Heads | None:
    """Return what the file says, ``None`` where there is none or it does not hold: the check tells that."""
    try:
        return read_heads(folder)
    except (SealError, StoreError):
        return None


def _heads(body: Mapping[str, object]) -> Heads:
    if body["format"] != FORMAT:
        raise ValueError("a newer loomproof wrote it")
    keys, started, stores = body["keys"], body["started"], body["stores"]
    assert isinstance(keys, list)
    assert isinstance(started, list)
    assert isinstance(stores, list)
    files = body.get("files", {})
    assert isinstance(files, dict)
    return Heads(
        tuple(str(key) for key in keys),
        Grown(int(started[0]), str(started[1])),
        tuple(
            StoreHeads(
                str(store["identity"]),
                str(store["place"]),
                tuple(Head(str(b), int(n), str(h), str(r), str(f)) for b, n, h, r, f in store["heads"]),
                {str(name): Grown(int(last), str(d)) for name, (last, d) in store["grown"].items()},
                int(store.get("found", 0)),
                tuple(map(str, store.get("announced", ()))),
                {
                    str(name): tuple((int(first), int(last)) for first, last in ranges)
                    for name, ranges in store.get("outside", {}).items()
                },
                {str(name): int(count) for name, count in store.get("others", {}).items()},
            )
            for store in stores
        ),
        {
            str(name): KeptFile(
                Grown(int(each["grown"][0]), str(each["grown"][1])),
                tuple(map(str, each["announced"])),
                tuple((int(first), int(last)) for first, last in each["outside"]),
            )
            for name, each in files.items()
        },
    )


def _plain(heads: Heads) -> dict[str, object]:
    return {
        "format": FORMAT,
        "keys": list(heads.keys),
        "started": [heads.started.last, heads.started.digest],
        "stores": [
            {
                "identity": store.identity,
                "place": store.place,
                "heads": [[h.bench, h.sequence, h.hash, h.run, h.first] for h in store.heads],
                "grown": {name: [grown.last, grown.digest] for name, grown in (store.grown or {}).items()},
                **({"found": store.found} if store.found else {}),
                **({"announced": list(store.announced)} if store.announced else {}),
                **({"outside": _lists(store.outside)} if store.outside else {}),
                **({"others": dict(store.others)} if store.others else {}),
            }
            for store in heads.stores
        ],
        "files": {
            name: {
                "grown": [each.grown.last, each.grown.digest],
                "announced": list(each.announced),
                "outside": [list(pair) for pair in each.outside],
            }
            for name, each in (heads.files or {}).items()
        },
    }


def _lists(outside: Mapping[str, tuple[tuple[int, int], ...]]) -> dict[str, object]:
    return {name: [list(each) for each in ranges] for name, ranges in outside.items()}


def write_heads(folder: Path, heads: Heads, signer: Signer) -> None:
    """Write the file anew, signed; whole or not at all. `StoreError` where it cannot be."""
    keys = (*(key for key in heads.keys if key != signer.public_hex), signer.public_hex)
    body = _plain(replace(heads, keys=keys))
    text = canonical(body)
    data = canonical({"body": body, "key": signer.public_hex, "signature": signer.sign(text).hex()})
    path = folder / HEADS
    try:
        handle, name = tempfile.mkstemp(dir=folder, prefix=".heads-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(path)
        finally:
            Path(name).unlink(missing_ok=True)
    except OSError as error:
        raise StoreError(
            f"{path}: cannot be written: {error.strerror}",
            cure="Make room or rights there, or name another data folder in LOOMPROOF_HOME.",
        ) from error


@contextmanager
def changing(folder: Path) -> Iterator[Heads]:
    """Give what the file says while nobody else of this account changes it.

    A file that was changed by hand is put aside beside it, where the check of a store finds it.
    """
    with _locked(folder / ".heads.lock"):
        try:
            found = read_heads(folder)
        except SealError:
            (folder / HEADS).replace(folder / f"{PUT_ASIDE}{secrets.token_hex(4)}.json")
            found = None
        yield found or Heads()


PUT_ASIDE = "heads-changed-"
"""How the name of a file begins that was put aside because it does not hold."""


@contextmanager
def _locked(path: Path) -> Iterator[None]:
    file: IO[bytes]
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        file = path.open("ab")
    except OSError as error:
        raise StoreError(
            f"{path}: cannot be written: {error.strerror}",
            cure="Make room or rights there, or name another data folder in LOOMPROOF_HOME.",
        ) from error
    with file:
        if os.name == "nt":  # pragma: no cover
            import msvcrt

            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_LOCK, 1)  # type: ignore[attr-defined]
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX)
        yield


def started_grown(folder: Path, before: Grown) -> tuple[Grown, bool]:
    """Return how long ``started.jsonl`` is and with what, and whether it still begins as it did."""
    try:
        data = (folder / STARTED).read_bytes()
    except OSError:
        data = b""
    holds = hashlib.sha256(data[: before.last]).hexdigest() == before.digest if before.last else True
    holds = holds and len(data) >= before.last
    return Grown(len(data), sha256_hex(data)), holds


def place_in(folder: Path, place: str) -> str:
    """Return a store's place as the file names it: within the data folder as seen from there."""
    try:
        return str(Path(place).relative_to(folder.absolute()))
    except ValueError:
        return place


def matching(heads: Heads, identity: str, place: str, has: frozenset[str]) -> tuple[StoreHeads, ...]:
    """Return what is said of the store that calls itself so, or of what stood in its place and is its like.

    ``has`` are the hashes of the records in the store that the file names. A store that was made anew in the
    place of another one, with nothing of it, is another store (`displaced` names the one that is gone).
    """
    return tuple(
        store
        for store in heads.stores
        if store.identity == identity
        or (store.place == place and any(head.first in has or head.hash in has for head in store.heads))
    )


def displaced(heads: Heads, found: Sequence[StoreHeads], identity: str, place: str) -> tuple[StoreHeads, ...]:
    """Return the stores with something in them that were noted at a place where none of them stands now.

    ``found`` is what `matching` says of the store that stands there.
    """
    return tuple(
        store
        for store in heads.stores
        if store.place == place and store.identity != identity and store not in found and has_rows(store)
    )


def has_rows(store: StoreHeads) -> bool:
    """Return whether anything was in a store when it was noted last."""
    return bool(store.heads) or any(grown.last for grown in (store.grown or {}).values())


def last_of(store: StoreHeads) -> str:
    """Return in words with which record each chain of a store ended when it was noted last."""
    said = [f"record {head.sequence} of {head.bench}, run {head.run}" for head in store.heads]
    return f"last {'; '.join(said)}" if said else "without records"


def known_head(stores: Sequence[StoreHeads], bench: str) -> Chain | None:
    """Return where a chain stood at most, with its last record's hash, whatever the store has of it now."""
    heads = [head for store in stores for head in store.heads if head.bench == bench]
    if not heads:
        return None
    last = max(heads, key=lambda head: head.sequence)
    return Chain(bench, last.sequence, last.hash)
