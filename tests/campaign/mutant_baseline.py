"""Which tests run which line, how long each takes and which of them pass, while nothing is changed.

Kept for every test file below ``out/mutants``, under a hash of the code, of the helpers of the tests and of
the file itself: a new test costs its own file, not the room.
"""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

PRELOADED_TOO = "ignore::pytest.PytestAssertRewriteWarning"
FLAGS = ("-q", "-s", "-p", "no:cacheprovider", "-p", "no:xdist", "-W", PRELOADED_TOO)
"""How tests run here, measured and mutated alike."""
SLOW = ("test_killed", "test_pulled_cable", "test_real_line", "test_link_campaign", "test_with_device")
"""Tests of processes and real lines: they say little about a single line of arithmetic, and take minutes."""
AT_IMPORT = ""
"""Stands for a line that runs while modules are imported and tests are collected."""


@dataclass(frozen=True, slots=True)
class Baseline:
    """What tests do unmutated.

    ``seconds``: processor time by test, of those that pass; ``lines``: tests by (file below
    src/loomproof, line), `AT_IMPORT` among them; ``breadth``: how many lines a test runs.
    """

    seconds: dict[str, float]
    lines: dict[tuple[str, int], frozenset[str]]
    breadth: dict[str, int]

    def beside(self, file: str) -> frozenset[str]:
        """Return the tests that execute anything of a file."""
        return frozenset(
            name for (where, _), names in self.lines.items() if where == file for name in names if name
        )


def test_files(root: Path, tests: Sequence[str]) -> list[str]:
    """Return the test files that these folders and files stand for, without the slow ones."""
    return list(_files(root, tests))


def _files(root: Path, tests: Sequence[str]) -> Iterator[str]:
    for test in tests:
        path = root / test
        names = sorted(path.glob("test_*.py")) if path.is_dir() else [path]
        yield from (str(name.relative_to(root)) for name in names if name.stem not in SLOW)


def baseline(tree: Path, tests: Sequence[str], kept: Path) -> Baseline:
    """Return the baseline of these tests in a copy of the project, running those of which none is kept."""
    kept.mkdir(parents=True, exist_ok=True)
    base = _hash(
        [Path(__file__), *sorted((tree / "src").rglob("*.py")), *sorted((tree / "src").rglob("*.csv"))]
        + [
            path
            for path in sorted((tree / "tests").rglob("*.py"))
            if not path.name.startswith("test_") and "campaign" not in path.parts
        ]
    )
    places = {}
    for name in test_files(tree, tests):
        places[name] = (
            kept / f"{hashlib.sha256((base + name + _hash([tree / name])).encode()).hexdigest()}.json"
        )
    missing = [name for name, place in places.items() if not place.exists()]
    if missing:
        asked = json.dumps({name: str(places[name]) for name in missing})
        environment = os.environ | {"PYTHONPATH": str(tree / "src")}
        command = [sys.executable, "-m", "tests.campaign.mutant_baseline"]
        done = subprocess.run(
            command, cwd=tree, env=environment, input=asked, text=True, capture_output=True, check=False
        )
        if any(not place.exists() for place in places.values()):
            raise RuntimeError(f"the unmutated tests did not run:\n{done.stdout}{done.stderr}")
    return _joined([json.loads(place.read_text(encoding="utf-8")) for place in places.values()])


def _joined(parts: Sequence[dict[str, Any]]) -> Baseline:
    seconds: dict[str, float] = {}
    lines: dict[tuple[str, int], set[str]] = {}
    breadth: dict[str, int] = {}
    for part in parts:
        seconds |= part["seconds"]
        for name, files in part["lines"].items():
            passing = name == AT_IMPORT or name in part["seconds"]
            for file, numbers in files.items() if passing else ():
                breadth[name] = breadth.get(name, 0) + len(numbers)
                for number in numbers:
                    lines.setdefault((file, number), set()).add(name)
    return Baseline(seconds, {where: frozenset(names) for where, names in lines.items()}, breadth)


def _hash(paths: Sequence[Path]) -> str:
    whole = hashlib.sha256()
    for path in paths:
        whole.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return whole.hexdigest()


class _Watch:
    """Gives every test a coverage context of its own; what a shared fixture runs counts for all its tests."""

    def __init__(self, cov: Any) -> None:
        self.cov = cov
        self.seconds: dict[str, float] = {}
        self.failed: set[str] = set()
        self.shared: dict[str, set[str]] = {}
        self.caches: list[Any] = []
        self.now = AT_IMPORT

    def pytest_collection_finish(self) -> None:
        self.caches = caches()

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None]:
        for each in self.caches:
            each.cache_clear()
        self._switch(item.nodeid)
        begun_s = _busy_s()
        yield
        self.seconds[item.nodeid] = round(_busy_s() - begun_s, 4)
        self._switch(AT_IMPORT)
        for name in getattr(item, "fixturenames", ()):
            self.shared.setdefault(name, set()).add(item.nodeid)

    @pytest.hookimpl(hookwrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any) -> Generator[None]:
        before = self.now
        if fixturedef.scope != "function":
            self._switch(f"fixture {fixturedef.argname}")
        yield
        self._switch(before)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.failed.add(report.nodeid)

    def _switch(self, name: str) -> None:
        self.now = name
        self.cov.switch_context(name)


def _busy_s() -> float:
    """Return the processor time of this process and of children that have ended: a busy machine adds none."""
    times = os.times()
    return time.process_time() + times.children_user + times.children_system


def caches() -> list[Any]:
    """Return the caches of the code and of its tests, which hold what was computed before."""
    import functools
    import gc

    found = [each for each in gc.get_objects() if isinstance(each, functools._lru_cache_wrapper)]
    return [
        each
        for each in found
        if str(getattr(each, "__module__", "")).partition(".")[0] in ("loomproof", "tests", "conftest")
    ]


def quiet_hypothesis() -> None:
    """Have Hypothesis try the same examples each time, with no deadline and without making them smaller."""
    import hypothesis

    phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)
    hypothesis.settings.register_profile(
        "mutants", derandomize=True, deadline=None, database=None, phases=phases, print_blob=False
    )
    hypothesis.settings.load_profile("mutants")


def _run(places: dict[str, str]) -> None:
    """Run test files and write what each of them showed to its place."""
    import coverage

    quiet_hypothesis()
    cov = coverage.Coverage(source_pkgs=["loomproof"], data_file=None)
    watch = _Watch(cov)
    cov.start()
    code = pytest.main([*FLAGS, *places], plugins=[watch])
    cov.stop()
    if code not in (pytest.ExitCode.OK, pytest.ExitCode.TESTS_FAILED):
        sys.exit(f"the tests were not collected: {code!r}")  # and nothing is kept of them
    data = cov.get_data()
    base = Path.cwd() / "src" / "loomproof"
    lines: dict[str, dict[str, list[int]]] = {}
    for file in data.measured_files():
        for number, names in data.contexts_by_lineno(file).items():
            named = Path(file).relative_to(base).as_posix()
            for name in names:
                tests = watch.shared.get(name[8:], ()) if name.startswith("fixture ") else (name,)
                for test in tests:
                    lines.setdefault(test, {}).setdefault(named, []).append(number)
    for name, place in places.items():
        mine = {test: s for test, s in watch.seconds.items() if test.partition("::")[0] == name}
        part = {
            "seconds": {test: s for test, s in mine.items() if test not in watch.failed},
            "lines": {test: lines.get(test, {}) for test in [AT_IMPORT, *mine]},
        }
        Path(place).write_text(json.dumps(part), encoding="utf-8")


if __name__ == "__main__":
    _run(json.load(sys.stdin))
