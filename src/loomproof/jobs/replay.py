"""Working a journal out again, without a bench: the same questions, the answers that were given then."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from loomproof.bench.adapter import Adapter
from loomproof.bench.journal import ReplayBench
from loomproof.errors import BenchError, JournalError, LinkError, ReplayError
from loomproof.jobs import journal_header as headers
from loomproof.judgement.conclude import Outcome, conclude
from loomproof.loom.model import Loom
from loomproof.measuring.events import finish
from loomproof.measuring.hookup_result import HookUpResult
from loomproof.measuring.measure import measure
from loomproof.planning.request import Request
from loomproof.records.canonical import sha256_hex
from loomproof.results.grade import Grade

_A_JOURNAL = "Give the file that ends with .journal.jsonl, from the folder that the proof wrote to."


def replayed(path: Path, loom: Loom) -> HookUpResult:
    """Work one hook-up out again from its journal. Raises `JournalError` where it is not whole."""
    bench = ReplayBench(path)
    request = headers.request_from(bench.run, loom)
    try:
        part = finish(measure(request, bench, headers.replayed_clearance(bench, request)))
    except LinkError as error:
        # The journal keeps what went wrong as well: here it is history, not a port to plug in.
        raise JournalError(
            f"{path} holds a run that was broken off: {error.message}",
            cure="Nothing is claimed from it. Prove again.",
        ) from None
    if not bench.finished:
        raise ReplayError(
            f"{path} goes on after the run's last question",
            cure="It was changed since it was written, or two were joined; take it from a backup.",
        )
    return part


def replay(journal: Path, loom: Loom, grade: Grade | None = None) -> Outcome:
    """Work a journal out again, of one hook-up or of several joined; the same results, byte for byte.

    ``grade`` demands another grade than the proof was asked for. Raises `ReplayError` for what is no journal,
    is of another loom, or where a hook-up is missing, stands twice or is another run's; `JournalError` where
    it ends before the run does.
    """
    read = _read(journal)
    pieces = _pieces(read, journal)
    if len(pieces) < 2:
        part = replayed(journal, loom)
        return _concluded(replace(part.request, grade=grade or part.request.grade), [part], read)
    parts = []
    with tempfile.TemporaryDirectory() as folder:
        for k, piece in enumerate(pieces):
            path = Path(folder) / f"hook-up-{k + 1}.journal.jsonl"
            path.write_bytes(b"".join(piece))
            try:
                parts.append(replayed(path, loom))
            except BenchError as error:
                error.message = error.message.replace(str(path), f"hook-up {k + 1} in {journal}")
                raise
    whole = Adapter(
        f"{len(parts)} hook-ups on {parts[-1].capabilities.points} points",
        tuple(lead for part in parts for lead in part.request.adapter.entries),
    )
    first = parts[0].request
    return _concluded(replace(first, adapter=whole, grade=grade or first.grade), parts, read)


def _concluded(request: Request, parts: Sequence[HookUpResult], journal: bytes) -> Outcome:
    outcome = conclude(request, parts)
    digest = sha256_hex(journal)
    return replace(outcome, document=outcome.document.model_copy(update={"journal_digest": digest}))


def _read(journal: Path) -> bytes:
    """Read a journal, and refuse what is none before anything is made of it."""
    try:
        read = journal.read_bytes()
    except OSError as error:
        raise ReplayError(
            f"the journal {journal} cannot be read: {error.strerror}", cure=_A_JOURNAL
        ) from error
    head = read.partition(b"\n")[0]
    try:
        header = json.loads(head)
    except (ValueError, RecursionError):
        header = None
    if read and not (isinstance(header, dict) and "schema" in header):
        raise ReplayError(
            f"{journal}, line 1: a journal's header, one line of JSON, was expected; this is no journal",
            cure=_A_JOURNAL,
        )
    return read


def _pieces(journal: bytes, path: Path) -> list[list[bytes]]:
    """Return the lines of each hook-up's journal; refuse joined ones that are not all of one run."""
    pieces: list[list[bytes]] = []
    for line in journal.splitlines(keepends=True):
        if line.startswith(b'{"schema":'):
            pieces.append([])
        if pieces:
            pieces[-1].append(line)
    if pieces:
        _all_there([piece[0] for piece in pieces], path)
    return pieces


def _all_there(heads: Sequence[bytes], joined: Path) -> None:
    """Refuse joined journals whose headers do not say hook-up 1, 2 and so on of one run."""
    told: list[tuple[object, object]] = []
    for head in heads:
        try:
            run = dict(json.loads(head)["run"])
        except (ValueError, KeyError, TypeError):
            return  # no header that can be read: that is told by line, where it is read
        told.append((run.get("run"), run.get("hook_up")))
    if told in ([(told[0][0], k) for k in range(1, len(told) + 1)], [(told[0][0], None)]):
        return
    listed = ", ".join(f"hook-up {k} of {run}" for run, k in told)
    raise ReplayError(
        f"{joined} holds {listed}; all hook-ups of one run, in their order, are expected",
        cure="Pieces were taken out, put in or exchanged; take it from a backup.",
    )
