"""The one error tree of the project; every room may import it, and it imports nothing of ours.

    LoomproofError                what went wrong, and what to do about it
    ├── InputError           (2)  the person gave us something wrong
    │   ├── UsageError            a command or option that cannot be meant
    │   ├── DescriptionError      a loom description; carries every problem found, not the first
    │   └── AdapterError          an adapter table, or an adapter that fits neither loom nor bench
    ├── BenchError           (3)  the bench is in trouble, or the run was broken off
    │   ├── NoBenchError          nothing answers at that address, or the port is taken
    │   ├── LinkError             the line to the bench failed; nothing that it carried is believed
    │   │   └── LostEventError        a watch that missed something; what it did report is true
    │   ├── RefusedError          the device refused a command (carries its code)
    │   ├── UnfitError            a self-check failed, or the bench lacks what was asked of it
    │   ├── SafetyError           something that must not be energised, or a voltage on the loom
    │   ├── JournalError          a reading journal that cannot be written, or is incomplete
    │   │   └── ReplayError  (2)      a journal that is damaged, or is not of this loom and run
    │   └── BrokenOffError        the run was stopped before its end
    └── RecordError          (5)  a record, a certificate or the store
        ├── SealError             a record or certificate that does not verify
        ├── UnknownSignerError (4) intact, but nobody here knows who sealed it
        └── StoreError       (3)  the store cannot be opened, read or written
            └── StoreAwayError    its server does not answer; what is kept in it is as it was

The number is the exit code that the command line gives. Verdicts are not errors: a loom that fails
(1) or that cannot be decided (4) is a result.

>>> import loomproof as lp
>>> try:
...     lp.load("no such folder")
... except lp.errors.DescriptionError as error:
...     print(error.message)
...     print(error.cure)
no such folder: there is no such loom
A loom is a folder with loom.toml and its tables, or one .xlsx workbook.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import ClassVar, Literal


class Todo(StrEnum):
    """What a person can have the program do. How it is asked for, each front end knows for itself."""

    ADAPTER = "name an adapter table, or take the description's order"
    ALL = "show all of a list that is shown in short"
    ANSWER = "answer a question about a list"
    BEEPS = "say up to how many ohms a meter beeps"
    CABLE = "put the simulator on a port of the network"
    CERTIFICATE = "write the certificate of a run"
    CHECK_ADAPTER = "check an adapter table against a loom"
    CHECK_LOOM = "check the description of a loom"
    CHECK_RECORDS = "check all that is kept"
    COLUMNS = "say where the headings of a list stand, and what its columns are"
    CONFIRM = "confirm what was asked"
    DATASET = "make a data set of a store"
    DECIMAL = "say what parts decimals in a list"
    DEMO = "see the whole job on a simulated bench"
    FINDINGS = "show the findings of a run"
    FIT = "say which ends of a loom go where"
    GO_ON = "go on with a stopped run"
    GO_ON_TRACE = "go on with a stopped trace"
    HAND_OVER = "hand over what waits in the outbox"
    HARNESS = "say which harness of a file a loom is"
    HAZARD = "say what is at a connector"
    HOOK_UPS = "prove hook-up by hook-up"
    IMPORT = "make a loom of a list or a KBL file"
    KNOW_SIGNER = "add a signer to those that are known"
    LOOM = "name a loom for a simulated bench"
    METER_VOLTS = "say what a meter shows on the loom"
    NEW_ADAPTER = "make an adapter table"
    NEW_KEY = "put a new key in place"
    NEW_LOOM = "write an example of a loom"
    NO_WATCH = "leave the watch out"
    OHMS = "have the resistance of every wire read by hand"
    OLD_KEY = "put a key in place that was kept elsewhere"
    OUT = "name the folder for results"
    OVER = "write over what is there"
    PLAN = "write a plan"
    PROBE = "read ends without a point with a probe"
    PROFILES = "list the profiles of instruments, or print one"
    PROVE = "prove a loom"
    PROVE_HERE = "prove a loom on the workshop's own bench"
    REPEATS = "read each resistance several times"
    REPLAY = "work a journal out again"
    RESISTOR = "test the bench with a resistor"
    RESTORE = "restore a backup"
    RESUME = "resume a backup"
    RETEST = "prove again what a repair can have touched"
    RUNS = "list the runs that are kept"
    RUNS_OF_LOOM = "list the proofs of one loom"
    SEALED_RECORD = "write the sealed record of a run"
    SELFTEST = "test the bench itself"
    SERIAL = "correct the serial of a kept run"
    SHORTED = "test the bench with a shorting plug"
    SIGNERS = "list the signers that are known"
    SIMULATE = "start a simulator by itself"
    SPLIT = "let the leads of a connector go to points in groups"
    TAKE_IN = "take in the records of another store"
    TRACE = "learn an unknown loom"
    WAIT = "wait longer for each touch"
    ZERO = "zero the leads"
    ZERO_OPEN = "learn what each open lead has"
    ZERO_OR_RESISTOR = "zero the leads, or read a known resistance"


@dataclass(frozen=True, slots=True)
class Do:
    """A thing to have done, and on what where that is known: a run, a file."""

    what: Todo
    on: str = ""


class LoomproofError(Exception):
    """Say what was found wrong (``message``) and what to do about it (``cure``).

    ``do`` is what the program itself can do about it; a front end adds how that is asked for.
    """

    exit_code: ClassVar[int] = 3
    blame: ClassVar[str] = "loomproof"

    def __init__(self, message: str, *, cure: str = "", do: Todo | Do | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.cure = cure
        self.do = Do(do) if isinstance(do, Todo) else do

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild, (type(self), self.__dict__.copy()))

    def __str__(self) -> str:
        return self.message


def _rebuild(kind: type[LoomproofError], state: dict[str, object]) -> LoomproofError:
    error = kind.__new__(kind)
    error.__dict__.update(state)
    error.args = (state.get("message", ""),)
    return error


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with an input: where (file, sheet, row, column), what, and what would be right.

    ``short`` is the message with its long lists cut; empty where the message is short already. ``do`` is what
    the program itself can do about it, as of an error.
    """

    message: str
    file: str = ""
    sheet: str = ""
    row: int | None = None
    column: str = ""
    cure: str = ""
    severity: Literal["error", "warning"] = "error"
    short: str = ""
    do: Do | None = None

    @property
    def place(self) -> str:
        """The place as text: ``wires.csv, row 14, column to_cavity``."""
        parts = [self.file]
        if self.sheet:
            parts.append(f"sheet {self.sheet}")
        if self.row is not None:
            parts.append(f"row {self.row}")
        if self.column:
            parts.append(f"column {self.column}")
        return ", ".join(part for part in parts if part)

    @property
    def place_of_sort(self) -> str:
        """The place without the row: where problems of one sort are."""
        return replace(self, row=None).place

    @property
    def brief(self) -> Problem:
        """The same with its long lists cut."""
        return replace(self, message=self.short or self.message, short="")

    def __str__(self) -> str:
        head = f"{self.place}: " if self.place else ""
        stop = "" if self.message.endswith((".", "?", "!", ":")) else "."
        tail = f"{stop} {self.cure}" if self.cure else ""
        return f"{head}{self.message}{tail}"


def alike(problems: Iterable[Problem]) -> list[list[Problem]]:
    """Return problems by their sort (one table, one column, one cure), in order of the first of each."""
    groups: dict[tuple[str, ...], list[Problem]] = {}
    for problem in problems:
        # Where no column tells what it is about, its words do, names and numbers left out.
        words = "" if problem.column else re.sub(r"'[^']*'|\S*\d\S*|:.*", "", problem.message)
        sort = (problem.file, problem.sheet, problem.column, problem.cure, words)
        groups.setdefault(sort, []).append(problem)
    return list(groups.values())


class InputError(LoomproofError, ValueError):
    """The command, the description or the adapter is wrong."""

    exit_code = 2
    blame = "input"

    def __init__(
        self,
        message: str,
        *,
        cure: str = "",
        do: Todo | Do | None = None,
        problems: Iterable[Problem] = (),
    ) -> None:
        super().__init__(message, cure=cure, do=do)
        self.problems = tuple(problems)


class UsageError(InputError):
    """A command or option that cannot be meant."""

    blame = "command"


class DescriptionError(InputError):
    """A loom description that is wrong; ``problems`` holds all of it."""

    blame = "description"


class AdapterError(InputError):
    """An adapter table that is wrong, or that fits neither loom nor bench."""

    blame = "adapter"


class BenchError(LoomproofError):
    """The bench is in trouble or the run was broken off."""

    exit_code = 3
    blame = "bench"


class NoBenchError(BenchError, ConnectionError):
    """Nothing answers at the address, or the port cannot be opened."""


class LinkError(BenchError, ConnectionError):
    """The line to the bench failed; ``statistics`` holds the link's counters where known."""

    blame = "link"


class LostEventError(LinkError):
    """A watch missed ``lost`` events or more. What it reported is true; no more is known to be steady."""

    lost = 1


class RefusedError(BenchError):
    """The device refused a command; ``code`` is its error code, ``command`` what it was sent."""

    def __init__(self, message: str, *, code: int, command: str = "", cure: str = "") -> None:
        super().__init__(message, cure=cure)
        self.code = code
        self.command = command


class UnfitError(BenchError):
    """A self-check failed, or the bench lacks what was asked of it."""


class SafetyError(BenchError):
    """Something that must not be energised, or a voltage found on the loom."""

    blame = "safety"


class JournalError(BenchError, OSError):
    """A reading journal that cannot be written, read or replayed."""

    blame = "journal"


class ReplayError(JournalError):
    """A journal to replay that is damaged, was changed, or is not of this loom, adapter and run."""

    exit_code = 2


class BrokenOffError(BenchError):
    """The run was stopped before its end; nothing is claimed from it."""

    blame = "run"


class RecordError(LoomproofError):
    """A record, a certificate or the store is in trouble."""

    exit_code = 5
    blame = "record"


class SealError(RecordError):
    """A record or certificate does not verify."""


class UnknownSignerError(RecordError):
    """A record that holds, sealed by a key that nobody here knows."""

    exit_code = 4


class BodyDeletedError(RecordError):
    """A record whose body was deleted by a rule: its hash and place are kept, what it said is not."""

    exit_code = 4


class StoreError(RecordError, OSError):
    """The store cannot be opened, read or written."""

    exit_code = 3
    blame = "store"


class StoreAwayError(StoreError):
    """The server of a store does not answer, or left in the middle of what was asked of it.

    Whether it kept what it was told last is not known.
    """


def suggestion(wrong: str, known: Iterable[str]) -> str:
    """Return a near miss as a sentence (``There is ECU:12.``), or an empty text where nothing is near."""
    names = list(known)
    exact = [name for name in names if name.casefold() == wrong.casefold()]
    near = exact or difflib.get_close_matches(wrong, names, n=1, cutoff=0.6)
    return f"There is {near[0]}." if near else ""
