"""Small wrongs put into the code on purpose, one at a time: do the tests of its room notice?

A seeded sample of mutants over the rooms that decide what is said. Each runs in a copy of the tree, with
those tests of its own room that execute the changed line (coverage.py says which), until the first one
fails. What no test notices is a survivor: it is killed by a new test, or called equivalent, with the reason,
in ``results/mutants_equivalent.toml``. ``--first N`` and ``--count N`` run part of the sample; a mutant's
number fixes it for one state of the code.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tests.campaign.mutating import Mutation, mutations_of, with_mutation

ROOT = Path(__file__).parents[2]
HERE = Path(__file__).parent
RESULTS = HERE / "results" / "mutants.md"
EQUIVALENT = HERE / "results" / "mutants_equivalent.toml"
ROOMS: dict[str, tuple[str, ...]] = {
    "electrics": ("tests/electrics",),
    "planning": ("tests/proof",),
    "measuring": ("tests/proof", "tests/bench"),
    "judgement": ("tests/proof", "tests/test_document.py", "tests/test_not_tested.py", "tests/cli"),
    "diagnosis": ("tests/diagnosis",),
    "fitting": ("tests/fitting",),
    "bench": ("tests/bench",),
}
SLOW = ("test_killed", "test_pulled_cable", "test_real_line", "test_link_campaign", "test_with_device")
"""Tests of processes and real lines: they say little about a single line of arithmetic, and take minutes."""
SEED = 20261128
COUNT = 1500
MOST_TESTS = 40
"""Up to this many tests are tried for a mutant: those that execute its line in the fewest lines first."""
TIMEOUT_S = 90.0


@dataclass(frozen=True, slots=True)
class Result:
    """What became of one mutant: ``killed``, ``survived``, ``timeout`` or ``unreached`` (no test runs it)."""

    number: int
    room: str
    file: str
    mutation: Mutation
    outcome: str

    @property
    def name(self) -> str:
        """The mutant in one line."""
        return f"{self.file}:{self.mutation.line} {self.mutation.text}"


def main(argv: Sequence[str]) -> int:
    """Run the sample and keep the table; the exit code is 1 where 5 % or more of the mutants survive."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--short", action="store_true", help="40 mutants, nothing kept")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--count", type=int, default=COUNT)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--room", action="append", choices=sorted(ROOMS))
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args(argv)
    count = 40 if given.short else given.count
    chosen = _sample(given.seed, given.room or sorted(ROOMS))[given.first : given.first + count]
    with tempfile.TemporaryDirectory() as folder:
        reached = {room: _reached(ROOMS[room], Path(folder)) for room in {room for room, *_ in chosen}}
        trees = [_copy(Path(folder) / f"tree{k}") for k in range(given.workers)]
        with ThreadPoolExecutor(given.workers) as pool:
            jobs = [
                pool.submit(
                    _run_share, trees[k], [*enumerate(chosen, given.first)][k :: given.workers], reached
                )
                for k in range(given.workers)
            ]
            results = sorted((each for job in jobs for each in job.result()), key=lambda each: each.number)
    table = _table(results, given.seed)
    print(table)
    whole = not (given.short or given.first or given.room or given.count != COUNT)
    if whole:
        RESULTS.write_text(table, encoding="utf-8")
    return int(_share(results) >= 0.05)


def _sample(seed: int, rooms: Sequence[str]) -> list[tuple[str, str, Mutation]]:
    """Return every mutant of these rooms in a seeded order: (room, file below src/loomproof, mutation)."""
    found = []
    for room in rooms:
        base = ROOT / "src" / "loomproof"
        files = [base / room] if room.endswith(".py") else sorted((base / room).rglob("*.py"))
        for path in files:
            name = path.relative_to(base).as_posix()
            found += [(room, name, each) for each in mutations_of(path.read_text(encoding="utf-8"))]
    random.Random(seed).shuffle(found)
    return found


def _reached(tests: Sequence[str], folder: Path) -> dict[tuple[str, int], list[str]]:
    """Return which tests execute which line of the code, those that execute the least first."""
    data = folder / f"coverage-{abs(hash(tests))}.json"
    script = (
        "import sys, json, coverage, pytest\n"
        "cov = coverage.Coverage(source_pkgs=['loomproof'], data_file=None)\n"
        "class P:\n"
        "    @pytest.hookimpl(hookwrapper=True)\n"
        "    def pytest_runtest_protocol(self, item):\n"
        "        cov.switch_context(item.nodeid); yield; cov.switch_context('')\n"
        "cov.start()\n"
        f"pytest.main(['-q', '-p', 'no:cacheprovider', *{list(_quick(tests))!r}], plugins=[P()])\n"
        "cov.stop(); data = cov.get_data(); found = {}\n"
        "for name in data.measured_files():\n"
        "    for line, tests in data.contexts_by_lineno(name).items():\n"
        "        found[f'{name}|{line}'] = [t for t in tests if t]\n"
        f"json.dump(found, open({str(data)!r}, 'w'))\n"
    )
    subprocess.run([sys.executable, "-c", script], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    listed: dict[str, list[str]] = json.loads(data.read_text(encoding="utf-8"))
    lines: dict[str, int] = {}
    for names in listed.values():
        for name in names:
            lines[name] = lines.get(name, 0) + 1
    base = ROOT / "src" / "loomproof"
    found = {}
    for key, names in listed.items():
        file, _, line = key.rpartition("|")
        found[Path(file).relative_to(base).as_posix(), int(line)] = sorted(
            names, key=lambda name: (lines[name], name)
        )
    return found


def _quick(tests: Sequence[str]) -> Iterator[str]:
    for test in tests:
        path = ROOT / test
        names = sorted(path.glob("test_*.py")) if path.is_dir() else [path]
        yield from (str(name.relative_to(ROOT)) for name in names if name.stem not in SLOW)


def _copy(tree: Path) -> Path:
    """Return a copy of what tests need."""
    skip = shutil.ignore_patterns("__pycache__", ".git", ".venv", "out", ".hypothesis")
    shutil.copytree(ROOT, tree, ignore=skip)
    return tree


def _run_share(
    tree: Path,
    share: Sequence[tuple[int, tuple[str, str, Mutation]]],
    reached: dict[str, dict[tuple[str, int], list[str]]],
) -> list[Result]:
    found = []
    for number, (room, file, mutation) in share:
        tests = reached[room].get((file, mutation.line)) or _beside(reached[room], file)
        outcome = _outcome(tree, file, mutation, tests) if tests else "unreached"
        result = Result(number, room, file, mutation, outcome)
        found.append(result)
        print(f"{number:5} {outcome:9} {result.name}", file=sys.stderr, flush=True)
    return found


def _beside(reached: dict[tuple[str, int], list[str]], file: str) -> list[str]:
    """Return the tests that execute anything of a file: for constants, which are read as it is imported."""
    return list(
        dict.fromkeys(name for (where, _), names in reached.items() if where == file for name in names)
    )


def _outcome(tree: Path, file: str, mutation: Mutation, tests: Sequence[str]) -> str:
    path = tree / "src" / "loomproof" / file
    whole = path.read_text(encoding="utf-8")
    spread = [*tests[:MOST_TESTS], *tests[MOST_TESTS :: max(1, len(tests) // 20)]]
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-x",
        "-q",
        "-p",
        "no:cacheprovider",
        "-p",
        "no:xdist",
        *spread,
    ]
    environment = os.environ | {"PYTHONPATH": str(tree / "src"), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        path.write_text(with_mutation(whole, mutation), encoding="utf-8")
        done = subprocess.run(
            command, cwd=tree, env=environment, capture_output=True, timeout=TIMEOUT_S, check=False
        )
    except subprocess.TimeoutExpired:
        return "timeout"
    finally:
        path.write_text(whole, encoding="utf-8")
    return "survived" if done.returncode == 0 else "killed"


def _equivalent() -> dict[str, str]:
    """Return the survivors that change nothing anyone could see, with the reason (two readers agreed)."""
    if not EQUIVALENT.exists():
        return {}
    table = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8"))
    return {f"{each['file']} {each['mutation']}": each["reason"] for each in table.get("mutant", ())}


def _alive(results: Sequence[Result]) -> list[Result]:
    known = _equivalent()
    return [
        each
        for each in results
        if each.outcome in ("survived", "unreached") and f"{each.file} {each.mutation.text}" not in known
    ]


def _share(results: Sequence[Result]) -> float:
    known = _equivalent()
    others = [each for each in results if f"{each.file} {each.mutation.text}" not in known]
    return len(_alive(results)) / max(1, len(others))


def _table(results: Sequence[Result], seed: int) -> str:
    lines = [
        "# Small wrongs put into the code: which do the tests of its room notice?",
        "",
        f"`python -m tests.campaign.mutants --seed {seed} --count {len(results)}`",
        "",
        "| room | mutants | killed | timeout | survived | reached by no test | called equivalent |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    known = _equivalent()
    for room in [*sorted({each.room for each in results}), "all"]:
        mine = [each for each in results if room in (each.room, "all")]
        called = [each for each in mine if f"{each.file} {each.mutation.text}" in known]
        counts = [sum(each.outcome == word for each in mine) for word in ("killed", "timeout")]
        alive = _alive(mine)
        counts += [sum(each.outcome == word for each in alive) for word in ("survived", "unreached")]
        lines.append(f"| {room} | {len(mine)} | {' | '.join(map(str, counts))} | {len(called)} |")
    lines += ["", f"Of those not called equivalent {100 * _share(results):.1f} % survive.", ""]
    lines += [f"- {each.outcome}: `{each.name}`" for each in _alive(results)]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
