"""What lies in a folder and in the store, seen at a glance: names and headings, no description is read.

Everything here answers within what a person waits for at a prompt, so it imports and opens little.
"""

from __future__ import annotations

import csv
import os
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from loomproof.jobs.workshop_places import places
from loomproof.records.data_folder import home
from loomproof.records.listed import Listed, newest_first

HARNESS_FILES = (".kbl", ".vec")
"""Files that are looms by their endings; other forms are seen by what is in them."""

MOST_ENTRIES = 2000
"""So many entries of a folder are looked at: a folder of more is no folder of looms."""

_LOOM = "loom.toml"


@dataclass(frozen=True, slots=True)
class LoomHere:
    """A loom that lies here, by the path to type, with what its files state."""

    path: str
    name: str
    serial: str = ""
    connectors: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Here:
    """What lies in a folder and what the store lists, newest run first.

    ``adapters`` are tables by path with the connectors that they name; ``bench`` is what workshop.toml names,
    ``elsewhere`` that the store is a database that is not looked into.
    """

    looms: tuple[LoomHere, ...] = ()
    adapters: tuple[tuple[str, frozenset[str]], ...] = ()
    runs: tuple[Listed, ...] = ()
    bench: str = ""
    elsewhere: bool = False


def lying_here(folder: Path, store: str | None = None) -> Here:
    """Look at a folder, those in it, and the store (``None``: workshop.toml's, else the person's own)."""
    bench, named = workshop_here()
    where, adapters = store or named, tuple(_adapters(folder))
    runs = () if "://" in where else newest_first(store_file(where))
    return Here(looms_here(folder), adapters, runs, bench, elsewhere="://" in where)


def workshop_here() -> tuple[str, str]:
    """Return the bench and the store that the workshop.toml which holds here names; "" for none."""
    for path in places():
        if path.is_file():
            stated = _toml(path)
            store = str(stated.get("store", ""))
            beside = store and "://" not in store
            return str(stated.get("bench", "")), str(
                path.parent / Path(store).expanduser()
            ) if beside else store
    return "", ""


def store_file(said: str = "") -> Path:
    """Return the file of the store that is meant: the one that was said, else the person's own."""
    return Path(said) if said else home() / "records.db"


def looms_here(folder: Path) -> tuple[LoomHere, ...]:
    """Return the looms in a folder, by name; itself as ``.`` where it is one."""
    found = [_loom(folder, ".")] if (folder / _LOOM).is_file() else []
    for entry in _entries(folder):
        if entry.is_dir() and Path(entry.path, _LOOM).is_file():
            found.append(_loom(Path(entry.path), entry.name))
        elif Path(entry.name).suffix.casefold() in HARNESS_FILES:
            found.append(LoomHere(entry.name, Path(entry.name).stem))
    return tuple(found)


def connectors_here(loom: Path) -> Iterator[tuple[str, str]]:
    """Yield each connector of a loom's folder with its cavities as they are written there; else nothing."""
    for row in _rows(loom / "connectors.csv", "connector"):
        if row["connector"]:
            yield row["connector"].strip(), (row.get("cavities") or "").strip()


def _rows(path: Path, *headings: str) -> Iterator[Mapping[str, str]]:
    """Yield the rows of a table that has these headings, whatever parts its cells; else nothing."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            first = file.readline(10_000)
            mark = next((each for each in ",;\t" if each in first), ",")
            file.seek(0)
            read = csv.DictReader(file, delimiter=mark)
            if set(headings) <= set(read.fieldnames or ()):
                yield from read
    except (OSError, UnicodeDecodeError, csv.Error):
        return


def _entries(folder: Path) -> list[os.DirEntry[str]]:
    try:
        with os.scandir(folder) as entries:
            shown = (entry for entry, _ in zip(entries, range(MOST_ENTRIES), strict=False))
            return sorted((each for each in shown if not each.name.startswith(".")), key=lambda e: e.name)
    except OSError:
        return []


def _toml(path: Path) -> Mapping[str, Any]:
    """Return what a file says; nothing where it can't be read, which the command it matters to will say."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError):
        return {}


def _loom(folder: Path, path: str) -> LoomHere:
    stated = _toml(folder / _LOOM).get("loom")
    said = stated if isinstance(stated, dict) else {}
    name, serial = str(said.get("name") or folder.absolute().name), str(said.get("serial") or "")
    return LoomHere(path, name, serial, frozenset(each for each, _ in connectors_here(folder)))


def _adapters(folder: Path) -> Iterator[tuple[str, frozenset[str]]]:
    """Yield the adapter tables in a folder: CSV files with the headings point, connector and cavity."""
    for entry in _entries(folder):
        if entry.name.casefold().endswith(".csv") and entry.is_file():
            rows = _rows(Path(entry.path), "point", "connector", "cavity")
            if named := frozenset(row["connector"] or "" for row in rows):
                yield entry.name, named
