"""The folder of a loom that is being named: tables, the loom as traced, each answer, the adapter table."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from loomproof.bench.adapter import Adapter, write_adapter
from loomproof.errors import AdapterError, DescriptionError, InputError, UsageError
from loomproof.jobs.files import write_file
from loomproof.loom.model import ConnectorKind, End
from loomproof.loom.reading import WORKBOOKS, load
from loomproof.loom.text import first_of
from loomproof.loom.writing import unwritten, write_folder
from loomproof.naming.answers import Answer, Named, answered, begun

TRACED = "traced"
"""The folder within a loom's folder that keeps it as it was before the first name."""

LOG = "naming.jsonl"
"""The file that keeps each answer: when, of which traced end, what was said, why it was suggested."""

ADAPTER = "adapter.csv"
"""The adapter table by today's names."""


@dataclass(frozen=True)
class Kept:
    """An answer and when it was given (RFC 3339)."""

    answer: Answer
    at: str


@dataclass(frozen=True)
class Folder:
    """A folder as it was found: the loom with its answers, and ``told``, what a person should know of that.

    ``names`` is what traced ends are called by now. ``edited``: the tables were changed by hand, and the
    naming begins anew from them (`set_aside`).
    """

    named: Named
    kept: tuple[Kept, ...]
    names: Mapping[End, End]
    told: str = ""
    edited: bool = False


def opened(folder: Path) -> Folder:
    """Read a loom's folder and go on where it was left. Raises as `loomproof.loom.reading.load` does.

    Where the tables were changed by hand since, they hold, and what was answered before stays as it is.
    """
    if folder.suffix.casefold() in WORKBOOKS or folder.is_file():
        raise UsageError(
            f"{folder} is one file; names are kept in a loom's folder", cure="Export it as a folder first."
        )
    if not (folder / TRACED).is_dir():
        named = begun(load(folder).loom)
        return Folder(named, (), named.names)
    lines = _lines(folder / LOG)
    kept = tuple(_kept(folder / LOG, number, line) for number, line in enumerate(lines, start=1))
    try:
        named = answered(load(folder / TRACED).loom, (each.answer for each in kept))
    except InputError as error:
        raise DescriptionError(
            f"{folder / LOG} does not fit {folder / TRACED}: {error.message}",
            cure=f"Take {LOG} and the folder {TRACED} away; the names in the tables stay.",
        ) from error
    try:
        there = load(folder).loom
    except DescriptionError:
        # Broken off while it was written: the log is written first, and has everything.
        return Folder(named, kept, named.names, "The tables were half written, and are made anew.")
    before = answered(named.traced, named.answers[:-1]).loom
    if there.digest in (named.loom.digest, before.digest):
        return Folder(named, kept, named.names)
    now = begun(there)
    names = {then: name for then, name in named.names.items() if name in now.names}
    told = "The tables were changed by hand since: they hold, and answers before that cannot be taken back."
    return Folder(now, (), names, told, edited=True)


def set_aside(folder: Path) -> None:
    """Put log and loom of the beginning aside under the next free number: tables changed by hand hold."""
    number = next(k for k in range(1, 10_000) if not (folder / f"{TRACED}-{k}").exists())
    try:
        if (folder / LOG).exists():
            (folder / LOG).rename((folder / LOG).with_stem(f"naming-{number}"))
        (folder / TRACED).rename(folder / f"{TRACED}-{number}")
    except OSError as error:
        raise unwritten(folder, error) from error


def saved(folder: Path, named: Named, kept: Sequence[Kept], adapter: Adapter | None) -> None:
    """Write the folder after an answer: the log first, so that whatever breaks it off loses none.

    ``adapter`` is by the names of the beginning. Raises `UsageError` or `StoreError` where it cannot be
    written.
    """
    if not (folder / TRACED).is_dir():
        write_folder(named.traced, folder / TRACED)
    lines = [json.dumps(_plain(each), ensure_ascii=False) for each in kept]
    write_file(folder / LOG, "".join(f"{line}\n" for line in lines).encode())
    write_folder(named.loom, folder, over=True)
    if adapter is not None:
        leads = tuple(replace(lead, end=named.names.get(lead.end, lead.end)) for lead in adapter.entries)
        write_adapter(replace(adapter, entries=leads), folder / ADAPTER)


def leads_for(found: Folder, adapter: Adapter) -> Adapter:
    """Return an adapter by the names of the beginning: its table may have those of today or as it was traced.

    Raises `AdapterError` for leads to ends that the loom has under neither.
    """
    now, then = found.named.traced_of, found.names
    ends = [lead.end for lead in adapter.entries]
    if all(end in now for end in ends):
        back = {end: now[end] for end in ends}
    else:
        back = {end: now[then[end]] for end in ends if end in then and then[end] in now}
    strangers = [str(end) for end in ends if end not in back]
    if strangers:
        raise AdapterError(
            f"{adapter.file or adapter.name} has leads to {first_of(strangers, 4)}, which this loom has not",
            cure="Take the table that the loom was traced with, or the one in its folder.",
        )
    return replace(adapter, entries=tuple(replace(lead, end=back[lead.end]) for lead in adapter.entries))


def _lines(log: Path) -> list[str]:
    try:
        text = log.read_text(encoding="utf-8")
    except FileNotFoundError:
        return []
    except (OSError, UnicodeDecodeError) as error:
        raise DescriptionError(
            f"{log} cannot be read: {error}", cure="Restore it, or take it away."
        ) from error
    return [line for line in text.splitlines() if line.strip()]


def _plain(kept: Kept) -> dict[str, Any]:
    answer = kept.answer
    said = {
        "connector": answer.connector,
        "cavity": answer.cavity,
        "kind": "" if answer.kind is None else answer.kind.value,
        "colour": answer.colour,
        "designation": answer.designation,
        "purpose": answer.purpose,
        "suggested": answer.whence,
    }
    return {"at": kept.at, "end": list(answer.end)} | {name: text for name, text in said.items() if text}


def _kept(log: Path, number: int, line: str) -> Kept:
    try:
        read = json.loads(line)
        connector, cavity = read["end"]
        texts = {
            name: str(read.get(name, ""))
            for name in ("connector", "cavity", "colour", "designation", "purpose")
        }
        kind = ConnectorKind(read["kind"]) if "kind" in read else None
        answer = Answer(
            End(str(connector), str(cavity)), kind=kind, whence=str(read.get("suggested", "")), **texts
        )
        return Kept(answer, str(read["at"]))
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise DescriptionError(
            f"{log}, line {number} is no answer: {error}",
            cure="Restore the file, or take it and the folder traced away; the names in the tables stay.",
        ) from error
