"""Small wrongs put into the code on purpose, one at a time: do the tests of its room notice?

A seeded sample of mutants over the rooms that decide what is said. Each runs in a copy of the tree, with
those tests of its own room that execute the changed line (coverage.py says which) and that pass unmutated,
quick ones first, until one fails. What no test notices is a survivor: it is killed by a new test, or called
equivalent, with the reason, in ``results/mutants_equivalent.toml``.

A mutant's place in the sample depends on the seed and on its own name only, so that the sample stays as it is
where code around it moves. ``--room``, ``--first`` and ``--count`` run part of a room's share of it and add
that part to the kept table; ``--tests`` tries only these of the room's test files, so that a survivor may
still be killed by the others; ``--again`` runs kept survivors anew, with all tests of their room; ``--draw``
draws the table from what is kept, after a survivor was called equivalent.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tests.campaign.mutant_baseline import AT_IMPORT, Baseline, baseline, test_files
from tests.campaign.mutant_table import Named, Part, equivalents, keep, read_parts, share, with_part
from tests.campaign.mutating import Mutation, mutations_of

ROOT = Path(__file__).parents[2]
CODE = ROOT / "src" / "loomproof"
GRADING = (
    "tests/test_grading.py",
    "tests/test_clearance.py",
    "tests/test_jobs.py",
    "tests/test_retesting.py",
)
BENCH_ASKED = tuple(
    f"tests/bench/test_{name}.py"
    for name in (
        "capacitance",
        "safety",
        "selfcheck",
        "selftest",
        "touch_command",
        "zero_open",
        "zero_uncertainty",
    )
)
"""Those of the bench that the room of measuring answers for."""
PROVING = (
    *("tests/planning", "tests/measuring"),
    *("tests/judgement/test_claims.py", "tests/judgement/test_wires.py"),
)
"""What is measured is seen in what a plan makes of it and in what is claimed."""
BY_HAND = ("tests/measuring/test_by_hand.py", "tests/measuring/test_by_hand_looms.py")
"""Whether a planned row of touches is enough is seen where a person makes them."""
ROOMS: dict[str, tuple[str, ...]] = {
    "electrics": ("tests/electrics",),
    "planning": (
        *("tests/planning", *BY_HAND, "tests/electrics/test_explain.py"),
        *("tests/bench/test_driver_ohms.py", "tests/test_retesting.py"),
    ),
    "measuring": (
        *(*PROVING, *BENCH_ASKED, *GRADING),
        *("tests/cli/test_probe.py", "tests/cli/test_insulation.py"),
    ),
    "judgement": (
        *("tests/judgement", "tests/test_document.py", "tests/test_not_tested.py", *GRADING),
        *("tests/measuring/test_merging_unmet.py", "tests/cli/test_grades.py"),
    ),
    "diagnosis": ("tests/diagnosis",),
    "fitting": ("tests/fitting",),
    "bench": ("tests/bench",),
}
SEED = 20261128
COUNT = 1500
NARROW_S = 3.0
"""Of the tests that run the line, those of the file's own test file and then those that run fewest other
lines are tried, for so many seconds of processor time, unmutated and watched."""
MORE_S = 3.0
"""Of the rest so many seconds, quick ones first; ``--again`` tries four times as much of both."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """One mutant of the sample: its room, its name and where it stands in the file."""

    room: str
    name: Named
    mutation: Mutation


@dataclass(frozen=True, slots=True)
class Result:
    """What became of one mutant: ``killed``, ``timeout``, ``survived``, ``unreached`` or ``unrun``."""

    mutant: Mutant
    outcome: str
    said: str = ""


def main(argv: Sequence[str]) -> int:
    """Run the sample or part of it and keep the table; exit code 1 where 5 % or more survive."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--short", action="store_true", help="40 mutants, nothing kept")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--size", type=int, default=COUNT, help="mutants in the whole sample")
    parser.add_argument("--first", type=int, default=0, help="of each room's share")
    parser.add_argument("--count", type=int, default=COUNT, help="of each room's share")
    parser.add_argument("--room", action="append", choices=sorted(ROOMS))
    parser.add_argument("--tests", nargs="+", default=(), help="only these files of the room's tests")
    parser.add_argument("--again", action="store_true", help="run kept survivors anew")
    parser.add_argument("--draw", action="store_true", help="draw the table from what is kept")
    parser.add_argument("--forget", action="store_true", help="print, keep nothing")
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args(argv)
    if given.draw:
        print(keep(read_parts()))
        return 0
    rooms = given.room or sorted(ROOMS)
    sample = _sample(given.seed, 40 if given.short else given.size)
    chosen = {room: sample[room][given.first : given.first + given.count] for room in rooms}
    if given.again:
        everything = {each.name: each for each in _all_mutants()}
        names = {
            room: [name for part in read_parts() if part.room == room for name, _ in part.alive]
            for room in rooms
        }
        known = equivalents()
        chosen = {
            room: [everything[name] for name in names[room] if name in everything and name not in known]
            for room in rooms
        }
    whole = {room: chosen[room] == sample[room] for room in rooms}
    if not (given.again or given.short):  # what could not be kept is refused before it is run
        for room in rooms:
            planned = [Result(each, "unrun") for each in chosen[room]]
            with_part(read_parts(), _part(given.seed, room, given.first, planned, "", ""), whole=whole[room])
    commit = _commit()  # as the trees are copied, whatever is committed meanwhile
    results = _run(
        [each for room in rooms for each in chosen[room]],
        given.workers,
        4.0 if given.again else 1.0,
        {room: tuple(given.tests) or ROOMS[room] for room in rooms},
    )
    parts = [] if given.short else read_parts()
    command = " ".join(["python -m tests.campaign.mutants", *argv])
    if given.again:
        parts = [_renewed(part, results, rooms, commit) for part in parts]
    else:
        for room in rooms:
            mine = [each for each in results if each.mutant.room == room]
            if mine:
                part = _part(given.seed, room, given.first, mine, command, commit)
                parts = with_part(parts, part, whole=whole[room])
    if not (given.short or given.forget):
        keep(parts)
    for each in results:
        if each.outcome not in ("killed", "timeout"):
            print(f"{each.outcome:9} {each.mutant.name} (line {each.mutant.mutation.line}) {each.said}")
    print(f"{len(results)} run; of all kept, {100 * share(parts, equivalents()):.1f} % survive")
    return int(share(parts, equivalents()) >= 0.05)


def _part(seed: int, room: str, first: int, results: Sequence[Result], command: str, commit: str) -> Part:
    outcomes = [each.outcome for each in results]
    alive = [
        (each.mutant.name, each.outcome) for each in results if each.outcome not in ("killed", "timeout")
    ]
    return Part(
        seed=seed,
        room=room,
        first=first,
        made=len(results),
        killed=outcomes.count("killed"),
        timeout=outcomes.count("timeout"),
        commit=commit,
        date=_now(),
        command=command,
        alive=tuple(alive),
    )


def _renewed(part: Part, results: Sequence[Result], rooms: Sequence[str], commit: str) -> Part:
    """Return a part with what its survivors are now; one whose code is no more stays as it was."""
    if part.room not in rooms or not part.alive:
        return part
    now = {each.mutant.name: each.outcome for each in results if each.mutant.room == part.room}
    outcomes = [(name, now.get(name, outcome)) for name, outcome in part.alive]
    words = [outcome for _, outcome in outcomes]
    return replace(
        part,
        killed=part.killed + words.count("killed"),
        timeout=part.timeout + words.count("timeout"),
        alive=tuple((name, word) for name, word in outcomes if word not in ("killed", "timeout")),
        again=f"{_now()} at {commit}",
    )


def _now() -> str:
    return f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC"


def _commit() -> str:
    """Return the commit, with a plus where the code or the tests are not as committed."""
    said = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, check=True)
    state = ["git", "status", "--porcelain", "--", "src", "tests", ":!tests/campaign"]
    changed = subprocess.run(state, cwd=ROOT, capture_output=True, check=True)
    return said.stdout.decode().strip() + ("+" if changed.stdout.strip() else "")


def _all_mutants() -> list[Mutant]:
    found = []
    for room in ROOMS:
        for path in sorted((CODE / room).rglob("*.py")):
            file = path.relative_to(CODE).as_posix()
            for each in mutations_of(path.read_text(encoding="utf-8")):
                found.append(Mutant(room, Named(file, each.function, each.text), each))
    return found


def _sample(seed: int, size: int) -> dict[str, list[Mutant]]:
    """Return the first mutants of all in an order made of seed and names, by room."""

    def rank(each: Mutant) -> str:
        name = each.name
        return hashlib.sha256(f"{seed}|{name.file}|{name.function}|{name.text}".encode()).hexdigest()

    chosen = sorted(_all_mutants(), key=rank)[:size]
    return {room: [each for each in chosen if each.room == room] for room in ROOMS}


def _run(
    mutants: Sequence[Mutant], workers: int, times: float, tests: Mapping[str, tuple[str, ...]]
) -> list[Result]:
    """Run mutants with the tests of their room, each in one of ``workers`` copies of the tree, in order."""
    with tempfile.TemporaryDirectory(prefix="mutants") as folder:
        trees = [_copy(Path(folder) / f"tree{k}") for k in range(workers)]
        rooms = {each.room for each in mutants}
        lines = {room: baseline(trees[0], tests[room], ROOT / "out" / "mutants") for room in sorted(rooms)}
        todo: queue.SimpleQueue[int] = queue.SimpleQueue()
        for number in range(len(mutants)):
            todo.put(number)
        found: dict[int, Result] = {}
        threads = [
            threading.Thread(target=_share_of, args=(tree, mutants, todo, lines, found, times, tests))
            for tree in trees
        ]
        for each in threads:
            each.start()
        for each in threads:
            each.join()
    if len(found) < len(mutants):
        raise RuntimeError(f"{len(mutants) - len(found)} mutants were not run")
    return [found[number] for number in sorted(found)]


def _copy(tree: Path) -> Path:
    """Return a copy of what tests need."""
    skip = shutil.ignore_patterns("__pycache__", ".git", ".venv", "out", ".hypothesis", ".*_cache")
    return Path(shutil.copytree(ROOT, tree, ignore=skip))


def _share_of(
    tree: Path,
    mutants: Sequence[Mutant],
    todo: queue.SimpleQueue[int],
    lines: dict[str, Baseline],
    found: dict[int, Result],
    times: float,
    rooms: Mapping[str, tuple[str, ...]],
) -> None:
    """Have one worker run mutants until none is left."""
    environment = os.environ | {"PYTHONPATH": str(tree / "src")}
    command = [sys.executable, "-m", "tests.campaign.mutant_worker"]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, cwd=tree, env=environment, text=True, stdin=pipe, stdout=pipe) as worker:
        assert worker.stdin
        assert worker.stdout
        while not todo.empty():
            try:
                number = todo.get_nowait()
            except queue.Empty:
                break
            mutant = mutants[number]
            tests, imported = _tests_of(mutant, lines[mutant.room], times)
            if tests:
                print(
                    json.dumps(_job(tree, mutant, tests, imported, lines, rooms)),
                    file=worker.stdin,
                    flush=True,
                )
                answer = json.loads(worker.stdout.readline())
            else:
                answer = {"outcome": "unreached"}
            said = answer.get("by") or (answer.get("why", "") if answer["outcome"] != "survived" else "")
            found[number] = Result(mutant, answer["outcome"], said)
            print(f"{number:5} {answer['outcome']:9} {mutant.name} {said}", file=sys.stderr, flush=True)
        worker.stdin.close()


def _job(
    tree: Path,
    mutant: Mutant,
    tests: Sequence[str],
    imported: bool,
    lines: dict[str, Baseline],
    rooms: Mapping[str, tuple[str, ...]],
) -> dict[str, Any]:
    usual_s = sum(lines[mutant.room].seconds[name] for name in tests)
    return {
        "room": mutant.room,
        "files": test_files(tree, rooms[mutant.room]),
        "file": mutant.name.file,
        "index": mutant.mutation.index,
        "tests": tests,
        "fresh": not mutant.mutation.function,
        "imported": imported,
        "cpu_s": 15.0 + 5.0 * usual_s,
        "wall_s": 60.0 + 20.0 * usual_s,
    }


def _tests_of(mutant: Mutant, lines: Baseline, times: float) -> tuple[list[str], bool]:
    """Return the tests that run a mutant's statement, quick ones first, and whether import runs it too."""
    change, file = mutant.mutation, mutant.name.file
    names: set[str] = set()
    for line in [change.line, *range(change.first_line, change.last_line + 1)]:
        names |= lines.lines.get((file, line), frozenset())
        if line == change.line and names:
            break
    imported = AT_IMPORT in names
    if imported or not change.function:
        names |= lines.beside(file)
    own = f"test_{Path(file).stem}.py"
    narrow = sorted(
        names - {AT_IMPORT},
        key=lambda name: (Path(name.partition("::")[0]).name != own, lines.breadth[name], name),
    )
    first = list(_within(narrow, lines, NARROW_S * times))
    quick = sorted(set(narrow) - set(first), key=lambda name: (lines.seconds[name], name))
    more = list(_within(quick, lines, MORE_S * times))
    return [*sorted(first, key=lambda name: lines.seconds[name]), *more], imported


def _within(tests: Sequence[str], lines: Baseline, most_s: float) -> Iterator[str]:
    """Yield the tests that fit into so many seconds, at least the first."""
    spent_s = 0.0
    for name in tests:
        if spent_s and spent_s + lines.seconds[name] > most_s:
            continue
        spent_s += lines.seconds[name]
        yield name


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
