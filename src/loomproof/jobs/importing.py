"""Files made into looms: lists under answers kept beside them, held against the issue before; KBL, VEC."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum
from pathlib import Path

from loomproof.errors import DescriptionError, Do, LoomproofError, Problem, Todo, UsageError
from loomproof.loom import harness_file, importers, writing
from loomproof.loom.lists import questions
from loomproof.loom.lists.changes import carried, changes
from loomproof.loom.lists.questions import Answers, OpenQuestionsError, Question
from loomproof.loom.lists.reading import Reading, understand
from loomproof.loom.lists.sheets import ENDINGS
from loomproof.loom.model import Loom
from loomproof.loom.reading import WORKBOOKS, load
from loomproof.loom.tables import read_bytes
from loomproof.reports.words import plural

LEAVE = "leave it"
"""The answer to a question that a list can go in without."""


@dataclass(frozen=True)
class Imported:
    """A loom that was written, and what is worth a look in it."""

    loom: Loom
    notes: tuple[Problem, ...]


class Form(Enum):
    """What a file that a loom is made of is."""

    LIST = "a list, or a netlist"
    HARNESS = "a KBL or VEC file"
    OTHER = "what an importer of another package reads"


_NOT_READ = {
    ".ods": "an OpenDocument table (.ods)",
    ".xls": "a workbook of the old kind (.xls)",
    ".xlsb": "a binary workbook (.xlsb)",
    ".numbers": "a table of this kind (.numbers)",
}
"""Tables that this program does not read, by the ending of their names."""


def form_of(source: Path) -> Form:
    """Return what a file is, by its name. Raises `UsageError` where nothing here reads it."""
    suffix = source.suffix.casefold()
    if harness_file.is_one(source):
        return Form.HARNESS
    if suffix in (*ENDINGS, ".net"):
        return Form.LIST
    if importers.reads(source):
        return Form.OTHER
    others = "".join(f", {ending}" for ending in importers.endings())
    cure = f"Read are lists (.csv, .tsv, .md, .xlsx), netlists (.net), KBL (.kbl), VEC (.vec){others}."
    if said := _NOT_READ.get(suffix):
        cure = "Save the table as an Excel workbook (.xlsx) or as 'CSV UTF-8'."
        raise UsageError(f"{source}: {said} is not read", cure=cure)
    raise UsageError(f"{source}: what kind of file this is is not known", cure=cure)


def import_whole(
    source: Path,
    target: Path,
    *,
    name: str = "",
    harness: str | None = None,
    configuration: str | None = None,
    length_type: str | None = None,
    side_table: Path | None = None,
    over: bool = False,
) -> Imported:
    """Make a loom of a KBL or VEC file, or of one that an importer of another package reads, and write it.

    Raises `UsageError` where there is no such file, and as `loomproof.loom.harness_file.read` and
    `loomproof.loom.importers.read_other` do.
    """
    if harness_file.is_one(source):
        loaded = harness_file.read(
            source,
            configuration=configuration,
            side_table=side_table,
            length_type=length_type,
            harness=harness,
        )
    elif source.is_file():
        loaded = importers.read_other(source)
    else:
        raise UsageError(
            f"{source}: there is no such file", cure="Name a list, a workbook, a KBL or a VEC file."
        )
    loom = replace(loaded.loom, name=name) if name else loaded.loom
    writing.write_loom(loom, target, over=over)
    return Imported(loom, loaded.warnings)


@dataclass(frozen=True)
class ListImport:
    """A list on its way to a loom: as it is understood so far, and the issue that was imported there before.

    ``kept`` are the answers beside that issue, ``old`` its loom; ``strange``: those answers are of a list
    with other headings, and are not used. ``unsure``: nobody has confirmed how it is read.
    """

    data: bytes
    source: Path
    target: Path
    name: str
    answers: Answers
    reading: Reading
    kept: Answers | None = None
    old: Loom | None = None
    strange: bool = False
    confirmed: bool = False

    @property
    def unsure(self) -> bool:
        """Whether columns are guessed or rows left out, and no answers kept before say so."""
        return bool(self.reading.guessed or self.reading.left_out) and not self.confirmed

    def answered(self, question: Question, text: str) -> ListImport:
        """Return the list as it is understood with this answer to one of its questions."""
        answers = self.answers.with_answer(question, text)
        return replace(
            self, answers=answers, reading=understand(self.data, self.source.name, self.name, answers)
        )

    def made(self) -> Loom:
        """Return the loom, with what a person had added to the issue before and no list says.

        Raises `OpenQuestionsError` for a list with open questions, `DescriptionError` for one that makes no
        loom.
        """
        if self.reading.open:
            raise OpenQuestionsError(self.source.name, self.reading.open, self.reading.problems)
        if self.reading.loom is None:
            raise DescriptionError(
                f"{self.source.name}: the list does not make a loom", problems=self.reading.problems
            )
        return self.reading.loom if self.old is None else carried(self.old, self.reading.loom)

    def changes(self) -> tuple[str, ...] | None:
        """Return what changed since the issue before; ``None`` where there is none. Raises as `made`."""
        return None if self.old is None else tuple(changes(self.old, self.made()))

    def write(self, *, over: bool = False) -> Imported:
        """Write the loom, and the answers beside it.

        Raises `UsageError` where wires that a person edited would be written over (unless ``over``), or
        something else is there, and as `made` does.
        """
        loom, changed = self.made(), self.changes() or ()
        wires = any(text.startswith("wire ") for text in changed)
        as_imported = self.old is None or self.kept is None or self.old.digest == self.kept.digest
        if wires and not as_imported and not over:
            raise UsageError(
                f"{self.target} was edited since it was imported, and these wires would be written over",
                cure="Take the list's wires, or keep the loom and write the changes into it.",
                do=Todo.OVER,
            )
        writing.write_loom(loom, self.target, over=over or self.kept is not None)
        answers = replace(self.reading.answers, digest=loom.digest)
        writing.write_file(_answers_file(self.target), questions.write(answers), over=True)
        return Imported(loom, self.reading.notes)


KINDS = {
    "wires": "a wire in each row",
    "nets": "an end in each row, joined by what they have in common",
    "pins": "pins of connectors, nothing joined",
}
"""What a list holds, by its kind, in words."""


def facts_of(reading: Reading) -> Iterator[tuple[str, str]]:
    """Yield what was understood of a list, heading and text, before anything is written."""
    coloured = any(role == "colour" for role, _ in reading.columns)
    loom = reading.loom
    read, left, refused = reading.counts
    became = [f"{read} read", f"{left} left out", *([f"{refused} refused"] if refused else [])]
    facts = [
        ("sheets", ", ".join(reading.sheets)),
        ("tables not read", ", ".join(reading.sheets_left)),
        ("headings", f"row {reading.heading_row}" if reading.heading_row else ""),
        *((role, f"column {heading}") for role, heading in reading.columns),
        *((f"{side}_connector", name) for side, name in reading.named),
        ("not used", ", ".join(reading.columns_left)),
        ("parted by", repr(reading.separator) if reading.separator else ""),
        ("colour code", f"{reading.units.code}: {reading.code_why}" if coloured else ""),
        ("rows", f"{reading.rows}: {', '.join(became)}"),
        (
            "makes",
            f"{plural(len(loom.wires), 'wire')}, {len(loom.connectors)} connectors and splices"
            if loom
            else "",
        ),
    ]
    yield from ((head, text) for head, text in facts if text)


def read_list(source: Path, target: Path, given: Answers, name: str = "") -> ListImport:
    """Understand a list under the answers given, and those kept where it was imported before.

    Raises `UsageError` for a file that cannot be read or an answer that the list cannot take, and
    `DescriptionError` for one that holds no list.
    """
    questions.refuse_unknown(given.said)
    data, problem = read_bytes(source)
    if data is None:
        raise UsageError(
            str(problem or f"{source}: there is no such file"),
            cure="Name a list, a workbook, a KBL or a VEC file.",
        )
    return list_from(data, source, target, given, name)


def list_from(data: bytes, source: Path, target: Path, given: Answers, name: str = "") -> ListImport:
    """Understand the bytes of a list as `read_list` does; of ``source`` its name alone counts.

    Raises as `read_list` does.
    """
    questions.refuse_unknown(given.said)
    kept, old = _kept(target)
    name = name or (old.name if old else "") or source.stem
    if kept is not None:
        try:
            before = understand(data, source.name, name, given.over(kept))
        except UsageError:
            before = None  # it has no such columns or sheets
        if before is not None and before.answers.headings == kept.headings:
            return ListImport(data, source, target, name, given.over(kept), before, kept, old, confirmed=True)
    # Another list's columns are no answers to this one's.
    reading = understand(data, source.name, name, given)
    return ListImport(data, source, target, name, given, reading, kept, old, strange=kept is not None)


def _answers_file(target: Path) -> Path:
    if target.suffix.casefold() in WORKBOOKS:
        return target.with_name(f"{target.stem}.{questions.FILE}")
    return target / questions.FILE


def _kept(target: Path) -> tuple[Answers | None, Loom | None]:
    """Return the answers kept beside a loom, and the loom, where an earlier issue was imported there."""
    file = _answers_file(target)
    data, problem = read_bytes(file)
    if problem:
        raise UsageError(str(problem))
    if data is None:
        return None, None
    kept = questions.parse(data, file.name)
    try:
        return kept, load(target).loom
    except LoomproofError as error:
        raise UsageError(
            f"{target} holds {file.name} and no loom that can be read ({error})",
            cure=f"Mend it, or take {file.name} away and have the loom written over.",
            do=Do(Todo.CHECK_LOOM, str(target)),
        ) from error
