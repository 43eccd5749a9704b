"""The public names: which they are, that they cost nothing until used, and that their examples run."""

from __future__ import annotations

import doctest
import inspect
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import loomproof as lp

NAMES = [
    *("Adapter", "Document", "End", "Finding", "Job", "Loom", "Operator", "Proof", "Store", "Unattended"),
    *("check", "errors", "expect", "explain", "fit", "frames", "load", "open_bench", "plan", "plan_hookups"),
    *("simulate", "verify"),
]

ROOT = Path(__file__).parents[2]


def members(name: str) -> dict[str, Any]:
    """What a reader of a public name meets: itself, and its public functions, methods and properties."""
    value = getattr(lp, name)
    found = {name: value}
    if not inspect.isclass(value) and not inspect.ismodule(value):
        return found
    for each, member in vars(value).items():
        own = getattr(member, "__module__", value.__name__) == value.__name__
        if each.startswith("_") or (inspect.ismodule(value) and not (callable(member) and own)):
            continue
        if (
            inspect.isclass(value)
            and not isinstance(member, property | staticmethod | classmethod)
            and not inspect.isfunction(member)
            and not hasattr(member, "attrname")
        ):
            continue
        found[f"{name}.{each}"] = member
    return found


def test_these_are_all_the_public_names() -> None:
    assert sorted(lp.__all__) == sorted(NAMES)
    assert set(NAMES) <= set(dir(lp))
    for name in NAMES:
        assert getattr(lp, name) is getattr(lp, name)
    with pytest.raises(AttributeError, match="no attribute 'no_such_name'"):
        _ = lp.no_such_name  # type: ignore[attr-defined]  # that it is refused is what is tested


def test_a_name_costs_nothing_until_it_is_used() -> None:
    told = (
        "import sys; before = set(sys.modules); import loomproof as lp; "
        "print(sorted(m for m in set(sys.modules) - before if m.startswith('loomproof'))); "
        "lp.End; print('pandas' in sys.modules, 'sqlalchemy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[0] == "['loomproof', 'loomproof.version']"


@pytest.mark.parametrize("name", NAMES)
def test_it_is_documented_with_all_that_is_on_it(name: str) -> None:
    for each, member in members(name).items():
        said = inspect.getdoc(member)
        assert said, f"{each} has no docstring"
        assert said[0].isupper() or said[0] in "`{", f"{each}: {said[:40]}"


def examples(name: str) -> list[doctest.DocTest]:
    """The examples in what a public name, and all that is on it, says of itself."""
    finder = doctest.DocTestFinder(exclude_empty=True, recurse=False)
    found: list[doctest.DocTest] = []
    for each, member in members(name).items():
        found += finder.find(getattr(member, "func", member), each, module=False, globs={})
    return [test for test in found if test.examples]


def ran(test: doctest.DocTest) -> None:
    said: list[str] = []
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS)
    runner.run(test, out=said.append, clear_globs=True)
    assert not runner.failures, "".join(said)


@pytest.fixture
def at_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder of its own that holds what examples name; where keys and records go is of the test as well."""
    for name in ("fixtures", "tests", "docs"):
        (tmp_path / name).symlink_to(ROOT / name, target_is_directory=True)
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("name", NAMES)
def test_its_examples_run(name: str, at_home: None) -> None:
    found = examples(name)
    assert found, f"{name} shows no example"
    for test in found:
        ran(test)


def test_the_ten_lines_run(at_home: None, capsys: pytest.CaptureFixture[str]) -> None:
    (test,) = doctest.DocTestFinder(recurse=False).find(lp, "loomproof", globs={})
    ran(test)
    assert list(Path("out").iterdir())
    told = capsys.readouterr()
    assert (told.out, told.err) == ("", "")
