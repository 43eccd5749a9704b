"""A loom's description, checked and summed up, or begun with an example."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from loomproof.electrics.loads import too_weak
from loomproof.electrics.nets import nets_of
from loomproof.errors import Problem
from loomproof.fitting.sharing import carried_by_wires
from loomproof.loom import writing
from loomproof.loom.choices import answers_of, needs_of
from loomproof.loom.model import Loom, Need
from loomproof.loom.patterns import pattern
from loomproof.loom.reading import WORKBOOKS, load, load_files
from loomproof.loom.starter import starter
from loomproof.loom.summary import Summary, summary_of


@dataclass(frozen=True)
class Checked:
    """A description that holds together, what it comes to under the answers to its choices, what is odd.

    ``weak`` says of wires by name that they are too weak for their load, however sound the loom is.
    """

    loom: Loom
    answers: Mapping[str, str]
    summary: Summary
    nets: int
    warnings: tuple[Problem, ...]
    weak: Mapping[str, str]

    @property
    def facts(self) -> Iterator[tuple[str, str]]:
        """What the loom has, by name, in words."""
        found = self.summary
        yield "connectors", f"{found.connectors}, with {found.cavities} cavities ({found.spare} spare)"
        yield "splices", f"{found.splices}"
        stated = f"{found.length_m:.1f} m" if found.length_m or not found.wires else "no length stated"
        yield "wires", f"{found.wires}, {stated}"
        yield "nets", f"{self.nets}"
        yield "components", f"{found.components}, {found.fitted} in place while the loom is proved"
        yield "circuits", ", ".join(f"{found.circuits[need]} {need}" for need in Need)


def checked(path: Path, answers: Sequence[str] = ()) -> Checked:
    """Read and sum up a loom; each answer is ``CHOICE=ANSWER``. Raises as `loomproof.loom.reading.load`."""
    read = load(path)
    given = answers_of(read.loom, answers)
    weak = too_weak(read.loom, carried_by_wires(read.loom, needs_of(read.loom, given)))
    nets = len(nets_of(read.loom))
    return Checked(read.loom, given, summary_of(read.loom, given), nets, read.warnings, weak)


def write_starter(target: Path, name: str = "", *, usual: str = "", over: bool = False) -> None:
    """Write a commented example to a folder, or a workbook where the name ends so.

    ``usual`` names a pattern whose circuits are added. Raises `UsageError`, and `InputError` for a pattern
    that is not there.
    """
    files = starter(name or target.stem or "New loom", pattern(usual) if usual else ())
    if target.suffix.casefold() in WORKBOOKS:
        writing.write_workbook(load_files(files, str(target)).loom, target, over=over)
    else:
        writing.write_files(files, target, over=over)
