"""Files that somebody hands over to be a loom here: what they are, how they are understood, and keeping them.

Nobody vouches for them. What they are called decides what they are read as and stands in messages; it becomes
no part of any path. What is kept is named after the loom, in letters that this program chooses.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import Enum
from pathlib import Path, PurePosixPath
from typing import assert_never

from loomproof.errors import DescriptionError, InputError, Problem, UsageError
from loomproof.jobs.files import name_of
from loomproof.jobs.importing import Form, ListImport, form_of, list_from
from loomproof.loom import columns, harness_file, identity, importers, workbook, writing
from loomproof.loom.lists import sheets
from loomproof.loom.lists.questions import Answers
from loomproof.loom.lists.sheets import Sheet
from loomproof.loom.reading import WORKBOOKS, LoadedLoom, load_files, load_workbook

NETLIST = ".net"
"""How the name of a netlist ends: it has no rows, and no columns to name."""

OWN = (identity.FILE, *(f"{table}.csv" for table in columns.TABLES))
"""The files of a loom's folder, by the names that they have there."""


class Sort(Enum):
    """What was brought."""

    FOLDER = "the folder of a loom"
    WORKBOOK = "the workbook of a loom"
    LIST = "a list, or a netlist"
    HARNESS = "a KBL or VEC file"
    OTHER = "what an importer of another package reads"


@dataclass(frozen=True)
class Brought:
    """What was brought, and what was said of it so far; nothing of it is on the disk.

    ``files`` are the bytes by the names that are read, ``passed`` the names of those that are not. ``called``
    is what the loom is to be kept as here, ``answers`` how a list is read, the others how a KBL or VEC is.
    """

    sort: Sort
    name: str
    files: Mapping[str, bytes]
    passed: tuple[str, ...] = ()
    called: str = ""
    answers: Answers = field(default_factory=Answers)
    configuration: str = ""
    length_type: str = ""
    harness: str = ""

    @property
    def data(self) -> bytes:
        """The one file of what is one file."""
        return next(iter(self.files.values()))


def brought(sent: Mapping[str, bytes]) -> Brought:
    """Return what files are, by their names and, of a workbook, its sheets.

    A folder is told by the names of its files; others in it are passed over.
    Raises `UsageError` where they are nothing that is read here, or several things.
    """
    if not sent:
        raise UsageError(
            "no file was brought", cure="Pick a folder's files, a workbook, a list or a KBL file."
        )
    own = {name.casefold(): data for name, data in sent.items() if name.casefold() in OWN}
    if identity.FILE in own or (own and len(sent) > 1):
        passed = tuple(name for name in sent if name.casefold() not in OWN)
        return Brought(Sort.FOLDER, "the folder", own, passed)
    if len(sent) > 1:
        raise UsageError(
            f"{len(sent)} files were brought, and none is {identity.FILE}",
            cure="Bring one file, or all files of one loom's folder.",
        )
    ((name, data),) = sent.items()
    form = form_of(Path(name))
    if form is not Form.LIST:
        return Brought(Sort.HARNESS if form is Form.HARNESS else Sort.OTHER, name, sent)
    if PurePosixPath(name).suffix.casefold() in WORKBOOKS and _is_a_looms(data, name):
        return Brought(Sort.WORKBOOK, name, sent)
    return Brought(Sort.LIST, name, sent, called=PurePosixPath(name).stem)


def _is_a_looms(data: bytes, name: str) -> bool:
    """Whether a workbook is a loom's own, by the names of its sheets; a refused one is read as a list."""
    if workbook.refusal(data, name) is not None:
        return False
    wanted = ("loom", "connectors", "wires")
    found, problem = workbook.open_sheets(data, name, wanted, {}, workbook.Book())
    return problem is None and set(wanted) <= set(found)


def standing(what: Brought) -> tuple[Sheet, ...]:
    """Return what a file that is to be a list holds, table by table, whether or not it is one.

    Nothing of a netlist, nor of what holds no rows of text.
    """
    if what.sort is not Sort.LIST or PurePosixPath(what.name).suffix.casefold() == NETLIST:
        return ()
    try:
        return tuple(sheet for sheet in sheets.read(what.data, what.name).sheets if sheet.rows)
    except DescriptionError:
        return ()


def understood(what: Brought, folder: Path) -> LoadedLoom | ListImport:
    """Read what was brought: a loom with what is odd about it, or a list with what it leaves open.

    A list is held against the issue that was imported under the same name before. Raises `DescriptionError`
    with every problem, `UsageError` for an answer that can't be taken.
    """
    match what.sort:
        case Sort.FOLDER:
            return load_files(what.files, what.name)
        case Sort.WORKBOOK:
            return load_workbook(what.data, what.name)
        case Sort.LIST:
            called = what.called or PurePosixPath(what.name).stem
            return list_from(what.data, Path(what.name), place_for(called, folder), what.answers, called)
        case Sort.HARNESS | Sort.OTHER:
            return _of_a_file(what)
        case unknown:
            assert_never(unknown)


def _of_a_file(what: Brought) -> LoadedLoom:
    """Read what is only read from a file: it gets a name of ours, and messages say its own."""
    ending = PurePosixPath(what.name).suffix.casefold()
    known = next(each for each in (*harness_file.ENDINGS, *importers.endings()) if each == ending)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"brought{known}"
        path.write_bytes(what.data)
        try:
            if what.sort is Sort.OTHER:
                return importers.read_other(path)
            return harness_file.read(
                path,
                configuration=what.configuration or None,
                length_type=what.length_type or None,
                harness=what.harness or None,
            )
        except InputError as error:
            problems = [_named(each, path.name, what.name) for each in error.problems]
            message = error.message.replace(str(path), what.name).replace(path.name, what.name)
            raise DescriptionError(message, cure=error.cure, do=error.do, problems=problems) from None


def _named(problem: Problem, ours: str, theirs: str) -> Problem:
    return replace(problem, file=theirs) if problem.file == ours else problem


def place_for(called: str, folder: Path) -> Path:
    """Return where a loom of this name is kept. Raises `UsageError` for a name without a letter or figure."""
    plain = name_of("", called)
    if not plain:
        raise UsageError("the loom has no name to be kept under", cure="Give one with letters or figures.")
    return folder / plain


def keep(what: Brought, read: LoadedLoom | ListImport, folder: Path, *, over: bool = False) -> str:
    """Keep what was understood as a loom here; return the name that it has among the looms.

    Raises `UsageError` where something of that name is there already (a list may take the place of its
    earlier issue), and as `ListImport.write` does.
    """
    if isinstance(read, ListImport):
        read.write(over=over)
        return read.target.name
    called = what.called or read.loom.name
    target = place_for(called, folder)
    if what.sort is Sort.WORKBOOK:
        target = target.with_name(f"{target.name}.xlsx")
    if target.exists():
        raise UsageError(f"there is a loom called {target.name} already", cure="Keep it under another name.")
    if what.sort is Sort.FOLDER:
        writing.write_files(what.files, target)
    elif what.sort is Sort.WORKBOOK:
        writing.write_file(target, what.data)
    else:
        writing.write_loom(read.loom, target)
    return target.name
