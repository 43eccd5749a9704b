"""The makers of mutants: what they change, what a mutant is called, and what counts as killed."""

from __future__ import annotations

import ast
import gc
import os
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import FunctionType, ModuleType

import pytest

from tests.campaign.mutant_table import Named, Part, drawn, keep, read_parts, share, with_part
from tests.campaign.mutant_worker import _forked, change_living
from tests.campaign.mutating import mutated_tree, mutations_of

SOURCE = '''
"""A module."""
LIMIT = 3

def least(values: list[int], floor: int = 1) -> int:
    assert len(values) > 0
    if not values:
        raise ValueError(f"{len(values) + 1}")
    for one, other in zip(values, values, strict=True):
        if one == other and one > floor:
            continue
    return min(values) + 1

class Scale:
    factor = 2
    def times(self, number: int) -> int:
        return number * self.factor + 1
'''


def test_each_change_has_a_name_of_its_own_that_does_not_hang_on_lines() -> None:
    made = mutations_of(SOURCE)
    names = {(one.function, one.text) for one in made}
    assert len(names) == len(made)
    assert names == {(one.function, one.text) for one in mutations_of("# moved\n\n" + SOURCE)}
    assert {one.function for one in made} == {"", "least", "Scale.times"}
    texts = [one.text for one in made]
    assert "3 to 4 in LIMIT = 3" in texts
    assert "one == other: Eq to NotEq" in texts
    assert "one > floor: Gt to GtE" in texts
    assert "continue left out" in texts
    assert "min(values): to max" in texts
    assert "number * self.factor: Mult to Div" in texts
    assert not any("strict" in text or "len(values)" in text for text in texts), (
        "assertions and messages stay"
    )


def test_a_change_is_made_once_and_in_its_place() -> None:
    whole = ast.unparse(ast.parse(SOURCE)).splitlines()
    for one in mutations_of(SOURCE):
        lines = ast.unparse(mutated_tree(SOURCE, one.index)).splitlines()
        assert sum(a != b for a, b in zip(whole, lines, strict=True)) == 1, one
        assert one.first_line <= one.line <= one.last_line
    with pytest.raises(ValueError, match="no change"):
        mutated_tree(SOURCE, 10_000)


def living(path: str) -> tuple[ModuleType, list[FunctionType]]:
    module = ModuleType("made")
    exec(compile(SOURCE, path, "exec", dont_inherit=True), module.__dict__)
    found = [
        one for one in gc.get_objects() if type(one) is FunctionType and one.__code__.co_filename == path
    ]
    return module, found


def index_of(text: str) -> int:
    return next(one.index for one in mutations_of(SOURCE) if one.text == text)


def test_living_functions_take_the_change_and_what_ran_at_import_does_not() -> None:
    module, functions = living("/nowhere/living.py")
    assert (module.least([5, 7]), module.Scale().times(4)) == (6, 9)
    assert change_living(SOURCE, index_of("min(values): to max"), "/nowhere/living.py", functions)
    assert (module.least([5, 7]), module.Scale().times(4)) == (8, 9)
    assert change_living(
        SOURCE, index_of("number * self.factor: Mult to Div"), "/nowhere/living.py", functions
    )
    assert module.Scale().times(4) == 3
    for text in ("3 to 4 in LIMIT = 3", "2 to 3 in factor = 2"):
        assert not change_living(SOURCE, index_of(text), "/nowhere/living.py", functions)
    assert not change_living(SOURCE, index_of("min(values): to max"), "/nowhere/living.py", [])


def endless() -> int:
    while True:
        time.process_time()


@pytest.mark.parametrize(
    ("run", "outcome"),
    [
        (lambda: 0, "survived"),
        (lambda: 1, "killed"),
        (lambda: 2, "unrun"),
        (lambda: 4, "unrun"),
        (lambda: 5, "unrun"),
        (lambda: 1 // 0, "unrun"),
        (endless, "timeout"),
    ],
)
@pytest.mark.skipif(sys.platform == "win32", reason="mutants run in forks")
def test_only_a_test_that_fails_is_a_kill(run: Callable[[], int], outcome: str) -> None:
    """Exit codes of pytest: 1 is failed tests; 2, 4 and 5 are interrupted, wrong use, and no tests."""
    found = _forked(lambda report: run(), cpu_s=0.0, wall_s=60.0)
    assert found["outcome"] == outcome


@pytest.mark.skipif(sys.platform == "win32", reason="mutants run in forks")
def test_a_fork_tells_which_test_failed() -> None:
    def run(report: Callable[[str], None]) -> int:
        report("tests/test_a.py::test_b[Ω]")
        return 1

    assert _forked(run, cpu_s=5.0, wall_s=60.0)["by"] == "tests/test_a.py::test_b[Ω]"
    assert os.getpid() > 0


ALIVE = (Named("a.py", "f", "1 to 2"), "survived"), (Named("a.py", "g", "1 to 2"), "unreached")
PART = Part(1, "fitting", 0, 10, 7, 1, "abc", "2031-05-04", "command", alive=ALIVE)


def test_parts_add_up_and_are_never_counted_twice(tmp_path: Path) -> None:
    later = replace(PART, first=10, alive=(), killed=9)
    parts = with_part(with_part([], later), PART)
    assert [part.first for part in parts] == [0, 10]
    assert share(parts, {}) == pytest.approx(2 / 20)
    assert share(parts, {ALIVE[0][0]: "why"}) == pytest.approx(1 / 19)
    # The same part run anew takes the place of the old one, and a larger one that of all it holds.
    assert with_part(parts, replace(PART, killed=9, alive=()))[0].killed == 9
    assert len(with_part(parts, replace(PART, made=20))) == 1
    assert len(with_part(parts, replace(PART, room="bench"))) == 3
    with pytest.raises(ValueError, match="are kept: begin beside them"):
        with_part(parts, replace(PART, first=5))
    # Where code went, the whole share of a room is smaller than its parts were.
    other = replace(PART, room="bench")
    smaller = replace(PART, made=19, alive=())
    assert with_part([other, *parts], smaller, whole=True) == [other, smaller]
    text = keep(parts, tmp_path / "kept.jsonl", tmp_path / "table.md")
    assert read_parts(tmp_path / "kept.jsonl") == parts
    assert (tmp_path / "table.md").read_text(encoding="utf-8") == text
    assert read_parts(tmp_path / "nothing") == []


def test_the_table_counts_what_is_called_equivalent_apart() -> None:
    rows = drawn([PART], {ALIVE[0][0]: "why"}).splitlines()
    assert "| all | 10 | 7 | 1 | 0 | 1 | 0 | 1 | 11.1 % |" in rows
    assert "- unreached: `a.py g: 1 to 2`" in rows
    assert not any("a.py f" in row for row in rows)
