"""Looms from their descriptions, and what a sound one should read."""

from __future__ import annotations

from pathlib import Path

from loomproof.electrics.expectation import ROOM_TEMPERATURE_C, expect
from loomproof.errors import Problem, UsageError
from loomproof.loom import reading
from loomproof.loom.model import End, Loom, end_of
from loomproof.planning.explain_pair import Explanation, explain_by_accuracy


def load(path: Path | str, *, side_table: Path | str | None = None) -> Loom:
    """Read a loom: a folder, a workbook (.xlsx), or a KBL or VEC file (with its ``side_table``).

    Files of other endings are read where an installed package brings an importer
    (`loomproof.loom.importers`); lists and netlists, which leave questions, the command ``import`` takes.
    Raises `DescriptionError` that carries every problem found, each with file, row and column. What is odd
    and no error, `check` returns.

    >>> import loomproof as lp
    >>> loom = lp.load("fixtures/tail_lamp")
    >>> loom.name, len(loom.cavities), loom.wires[0].name
    ('Left tail lamp', 13, 'W1')
    """
    return reading.load(Path(path), side_table).loom


def check(path: Path | str, *, side_table: Path | str | None = None) -> tuple[Problem, ...]:
    """Return what is odd about a description that holds together, each with its place and a cure.

    Raises `DescriptionError` as `load` does.

    >>> import loomproof as lp
    >>> lp.check("fixtures/tail_lamp")
    ()
    """
    return reading.load(Path(path), side_table).warnings


def explain(
    loom: Loom,
    a: End | str,
    b: End | str,
    *,
    temperature_c: float = ROOM_TEMPERATURE_C,
    accuracy: tuple[float, float] = (0.1, 0.01),
) -> Explanation:
    """Return what two cavities of a sound loom read, the limit, and how both come about.

    ``accuracy`` are the limits of error of the meter, ±(Ω + ratio × reading); ``temperature_c`` is the
    loom's. Raises `UsageError` for an end that the loom has not.

    >>> import loomproof as lp
    >>> found = lp.explain(lp.load("fixtures/tail_lamp"), "BODY:2", "LAMP:2")
    >>> f"{found.between.expected_ohm:.4f} Ω, at most {found.between.limit_ohm:.4f} Ω"
    '0.0643 Ω, at most 0.1330 Ω'
    >>> [step.name for step in found.steps]
    ['W2']
    """
    ends = _end(a), _end(b)
    if ends[0] == ends[1]:
        raise UsageError(f"{a} is named twice", cure="Name two different cavities: a reading is between two.")
    return explain_by_accuracy(expect(loom, temperature_c), *ends, accuracy)


def _end(said: End | str) -> End:
    if isinstance(said, End):
        return said
    try:
        return end_of(said)
    except ValueError as error:
        raise UsageError(str(error), cure='Write CONNECTOR:CAVITY, such as "ECU:12".') from None
