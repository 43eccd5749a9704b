"""Runs mutants in a copy of the project: one process with everything imported, from which each mutant forks.

Asked on standard input, one JSON object a line, it answers one a line. A mutant of a function's body is made
in the collected session: the fork gives the living functions the changed code. What is computed as modules
are imported is run in a fork that imports the project anew. An outcome is ``killed`` (a test that passes
unmutated, and again right after, fails), ``survived``, ``timeout`` or ``unrun`` (nothing was run, or pytest
itself gave up: that is no kill).
"""

from __future__ import annotations

import ast
import contextlib
import gc
import importlib
import json
import os
import resource
import select
import signal
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

import pytest

from tests.campaign.mutant_baseline import FLAGS, caches, quiet_hypothesis
from tests.campaign.mutating import mutated_tree

PRELOADED = (
    *("numpy", "pandas", "pydantic", "hypothesis", "networkx", "scipy.sparse.linalg", "scipy.optimize"),
    *("lxml.etree", "click", "sqlalchemy", "pyvisa", "pyvisa_py", "pyvisa_sim", "jsonschema", "rich.console"),
    *("cryptography.hazmat.primitives.asymmetric.ed25519", "openpyxl", "serial", "GTC", "rfc8785"),
    *("pyhanko.sign", "typst", "segno", "pypdf"),
)
MEMORY_BYTES = 6 << 30
FUNCTION = 0x1  # CO_OPTIMIZED: the code of a function, not of a module or class
READY = "ready\n"
NOT_HERE = 77
"""Exit code of a fork that found no living function to change."""


def main_loop() -> None:
    """Answer until standard input ends."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    quiet = os.open(os.devnull, os.O_RDWR)
    lines = os.fdopen(os.dup(0), encoding="utf-8")
    os.dup2(quiet, 0)
    os.dup2(quiet, 1)
    for name in PRELOADED:
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    quiet_hypothesis()
    sessions: dict[str, _Session] = {}
    for line in lines:
        job = json.loads(line)
        if job["room"] not in sessions:
            sessions[job["room"]] = _Session(job["files"], job["room"])
        print(json.dumps(_mutant(job, sessions[job["room"]])), file=answers, flush=True)
    for each in reversed(list(sessions.values())):  # a later one holds the pipes of those before it open
        each.end()


def _mutant(job: dict[str, Any], session: _Session) -> dict[str, Any]:
    """Run one mutant; tests that fail unmutated as well are left out and it runs again."""
    tests = list(job["tests"])
    path = Path.cwd() / "src" / "loomproof" / job["file"]
    whole, stat = path.read_bytes(), path.stat()
    while tests:
        try:
            path.write_text(ast.unparse(mutated_tree(whole.decode(), job["index"])), encoding="utf-8")
            answer: dict[str, Any] = {"outcome": "here not"}
            if not job["fresh"]:
                answer = session.ask({**job, "tests": tests, "mutate": True, "source": whole.decode()})
            if answer["outcome"] == "here not" or (job["imported"] and answer["outcome"] == "survived"):
                answer = _forked(
                    lambda report: _fresh(tests, report, job["room"]), job["cpu_s"] + 10, job["wall_s"] + 60
                )
        finally:
            path.write_bytes(whole)
            os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))
        if answer["outcome"] != "killed" or not answer.get("by"):
            return answer
        if answer["by"] in session.sound:
            return answer
        again = session.ask({**job, "tests": [answer["by"]], "mutate": False})
        if again["outcome"] == "survived":
            session.sound.add(answer["by"])
            return answer
        tests.remove(answer["by"])
    return {"outcome": "unrun", "why": "every test fails unmutated"}


class _Session:
    """A forked process in which the tests of a room are collected, and which forks for each mutant."""

    def __init__(self, files: Sequence[str], room: str) -> None:
        asks_out, asks_in = os.pipe()
        says_out, says_in = os.pipe()
        self.pid = os.fork()
        if self.pid == 0:
            os.close(asks_in)
            os.close(says_out)
            plugin = _Loop(os.fdopen(asks_out, encoding="utf-8"), os.fdopen(says_in, "w", encoding="utf-8"))
            code = 1
            try:
                code = pytest.main([*FLAGS, f"--basetemp={_folder(room)}", *files], plugins=[plugin])
            finally:
                os._exit(int(code))
        os.close(asks_out)
        os.close(says_in)
        self.sound: set[str] = set()  # tests that passed unmutated right after they had failed
        self.asks = os.fdopen(asks_in, "w", encoding="utf-8")
        self.says = os.fdopen(says_out, encoding="utf-8")
        if self.says.readline() != READY:  # no file may be mutated while it imports
            raise RuntimeError("the tests were not collected")

    def ask(self, job: dict[str, Any]) -> dict[str, Any]:
        print(json.dumps(job), file=self.asks, flush=True)
        said = self.says.readline()
        if not said:
            raise RuntimeError("the session that forks for each mutant has ended")
        answer: dict[str, Any] = json.loads(said)
        return answer

    def end(self) -> None:
        self.asks.close()
        os.waitpid(self.pid, 0)


def _folder(room: str) -> Path:
    return Path.cwd().parent / f"{Path.cwd().name}-{room}"


class _Loop:
    """In place of running all collected tests: runs those of each mutant asked for, in a fork."""

    def __init__(self, asks: Any, says: Any) -> None:
        self.asks, self.says = asks, says

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        items = {item.nodeid: item for item in session.items}
        emptied, living = caches(), _living()
        gc.freeze()
        print(READY, end="", file=self.says, flush=True)
        for line in self.asks:
            job = json.loads(line)
            answer = _forked(
                partial(_inside, job, items, emptied, living),
                job["cpu_s"],
                job["wall_s"],
            )
            print(json.dumps(answer), file=self.says, flush=True)
        return True


Report = Callable[[str], None]


def _forked(run: Callable[[Report], int], cpu_s: float, wall_s: float) -> dict[str, Any]:
    """Run in a fork of its own group, within limits; what it reports is the test that failed."""
    out, into = os.pipe()
    pid = os.fork()
    if pid == 0:
        code = 3
        try:
            os.setpgid(0, 0)
            os.close(out)
            sys.dont_write_bytecode = True
            resource.setrlimit(resource.RLIMIT_CPU, (int(cpu_s) + 1, int(cpu_s) + 2))
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
            code = run(lambda name: void(os.write(into, name.encode() + b"\n")))
        finally:
            os._exit(code)
    os.close(into)
    ended, deadline = False, time.monotonic() + wall_s
    said = b""
    while not ended and time.monotonic() < deadline:
        if select.select([out], [], [], 1.0)[0]:
            piece = os.read(out, 65536)
            said += piece
            ended = not piece
        elif os.waitid(os.P_PID, pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None:
            ended = True
    if not ended:
        _end_group(pid)
    _, status = os.waitpid(pid, 0)
    _end_group(pid)  # what its tests started
    while select.select([out], [], [], 0.0)[0] and (piece := os.read(out, 65536)):
        said += piece
    os.close(out)
    by = said.decode().splitlines()[-1] if said.strip() else ""
    if os.WIFSIGNALED(status):
        slow = not ended or os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL)
        return {"outcome": "timeout" if slow else "killed", "by": by, "why": f"signal {os.WTERMSIG(status)}"}
    code = os.waitstatus_to_exitcode(status)
    words = {0: "survived", 1: "killed", NOT_HERE: "here not"}
    return {"outcome": words.get(code, "unrun"), "by": by, "why": f"exit code {code}"}


def _end_group(pid: int) -> None:
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(pid, signal.SIGKILL)


def void(_: object) -> None:
    """Take a value nobody wants."""


def _living() -> dict[str, list[FunctionType]]:
    """Return the functions of the code that live in this process, by file."""
    found: dict[str, list[FunctionType]] = {}
    for each in gc.get_objects():
        if type(each) is FunctionType and str(each.__module__).startswith("loomproof"):
            found.setdefault(each.__code__.co_filename, []).append(each)
    return found


def _inside(
    job: dict[str, Any],
    items: dict[str, pytest.Item],
    emptied: list[Any],
    living: dict[str, list[FunctionType]],
    report: Report,
) -> int:
    """Change the living functions and run the tests; the exit code says what became of them."""
    for each in emptied:
        each.cache_clear()
    if job["mutate"]:
        path = str(Path.cwd() / "src" / "loomproof" / job["file"])
        if not change_living(job["source"], job["index"], path, living.get(path, [])):
            return NOT_HERE
    failures: list[str] = []

    class Failures:
        def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
            if report.failed:
                failures.append(report.nodeid)

    run = 0
    for name in job["tests"]:
        item = items.get(name)
        if item is None:
            continue
        if run == 0:
            item.config.pluginmanager.register(Failures())
        run += 1
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)
        if failures:
            report(failures[0])
            return 1
    return 0 if run else 5


def _fresh(tests: Sequence[str], report: Report, room: str) -> int:
    """Import project and tests anew, mutated as the file is now, and run these tests."""
    for name in [
        name for name in sys.modules if name.partition(".")[0] in ("loomproof", "tests", "conftest")
    ]:
        del sys.modules[name]
    importlib.invalidate_caches()
    wanted = {name: k for k, name in enumerate(tests)}

    class Chosen:
        broken = False

        def pytest_collectreport(self, report: pytest.CollectReport) -> None:
            Chosen.broken = Chosen.broken or report.failed

        def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
            items[:] = sorted(
                (each for each in items if each.nodeid in wanted), key=lambda each: wanted[each.nodeid]
            )

        def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
            if report.failed:
                said(report.nodeid)

    said = report
    files = list(dict.fromkeys(name.partition("::")[0] for name in tests))
    code = pytest.main([*FLAGS, "-x", f"--basetemp={_folder(room)}-fresh", *files], plugins=[Chosen()])
    if Chosen.broken or code == pytest.ExitCode.USAGE_ERROR:
        return 1  # all of these files are collected unmutated: the mutant breaks the import, a conftest's too
    return int(code)


def change_living(source: str, index: int, path: str, living: Sequence[FunctionType]) -> bool:
    """Give the functions of a module that live in this process the code of the changed source.

    Return whether every function that the change touches was found.
    """
    before = compile(ast.parse(source), path, "exec", dont_inherit=True)
    after = compile(mutated_tree(source, index), path, "exec", dont_inherit=True)
    changed = list(_changed(before, after))
    if not changed or any(each is None for each in changed):
        return False
    pairs = {(old.co_qualname, old.co_firstlineno): new for old, new in (each for each in changed if each)}
    found = set()
    for each in living:
        where = (each.__code__.co_qualname, each.__code__.co_firstlineno)
        if where in pairs:
            if len(pairs[where].co_freevars) != len(each.__code__.co_freevars):
                return False
            each.__code__ = pairs[where]
            found.add(where)
    return len(found) == len(pairs)


def _changed(before: CodeType, after: CodeType) -> Iterator[tuple[CodeType, CodeType] | None]:
    """Yield the outermost functions that differ; ``None`` for what differs outside of all functions."""
    if before.co_flags & FUNCTION:
        if _own(before, deep=True) != _own(after, deep=True):
            yield before, after
        return
    if _own(before, deep=False) != _own(after, deep=False):
        yield None
        return
    for old, new in zip(_inner(before), _inner(after), strict=True):
        yield from _changed(old, new)


def _inner(code: CodeType) -> list[CodeType]:
    return [each for each in code.co_consts if isinstance(each, CodeType)]


def _own(code: CodeType, deep: bool) -> tuple[object, ...]:
    constants = tuple(
        (_own(each, deep=True) if deep else "code") if isinstance(each, CodeType) else repr(each)
        for each in code.co_consts
    )
    return code.co_code, code.co_names, code.co_varnames, code.co_freevars, code.co_cellvars, constants


if __name__ == "__main__":
    main_loop()
