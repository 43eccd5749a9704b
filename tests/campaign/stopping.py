"""Proofs that are told to stop, by SIGINT, SIGTERM or SIGHUP at a random moment: was the scanner released?

    python -m tests.campaign stopping [--short] [--runs 300] [--seed 0]

Each run is the command of a user in a process of its own, over TCP, against a simulated scanner here that
writes down every command that it executes. Released is a run after whose last driving command the scanner has
executed ROUT:OPEN:ALL; true are words that say so of such runs only. Exits with 1 where any was not.
"""

from __future__ import annotations

import argparse
import contextlib
import multiprocessing
import os
import random
import select
import signal
import socket
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from loomproof.bench.seam import NOT_RELEASED, NOTHING_DRIVEN, RELEASED
from loomproof.loom.reading import load
from loomproof.virtual.link import Device
from loomproof.virtual.scanner import Scanner
from tests.results import table_file

LOOM = Path(__file__).parents[2] / "fixtures" / "tail_lamp"
SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
DRIVES = ("SENS:DRIV", "MEAS", "WATC")
LONGEST_S = 15.0


@dataclass
class Listening:
    """A simulated scanner behind a socket; ``done`` is what it executed since the host began."""

    device: Device = field(default_factory=lambda: Device(Scanner(load(LOOM).loom)))
    done: list[str] = field(default_factory=list)
    heard: threading.Event = field(default_factory=threading.Event)
    port: int = 0
    over: bool = False

    def __post_init__(self) -> None:
        execute = self.device.commands.execute

        def noted(body: str, **more: Any) -> Any:
            self.done.append(body)
            self.heard.set()
            return execute(body, **more)

        vars(self.device.commands)["execute"] = noted

    def serve(self, listener: socket.socket) -> None:
        """Serve one host after another until it is over."""
        while not self.over:
            if not select.select([listener], [], [], 0.05)[0]:
                continue
            line, _ = listener.accept()
            line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            with line, contextlib.suppress(OSError):
                self._one(line)

    def _one(self, line: socket.socket) -> None:
        while not self.over:
            wake_s = self.device.wake_s(time.monotonic()) - time.monotonic()
            if select.select([line], [], [], max(0.0, min(wake_s, 0.05)))[0]:
                data = line.recv(65536)
                if not data:
                    return
                self.device.feed(data, time.monotonic())
            for sent in self.device.step(time.monotonic()):
                time.sleep(max(0.0, sent.ready_s - time.monotonic()))
                line.sendall(sent.data)


@contextmanager
def listening() -> Iterator[Listening]:
    """Have a scanner listen on a port of its own."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        found = Listening(port=listener.getsockname()[1])
        thread = threading.Thread(target=found.serve, args=(listener,), daemon=True)
        thread.start()
        try:
            yield found
        finally:
            found.over = True
            thread.join()


def host(arguments: Sequence[str], said: str) -> None:
    """Be the command of a user; what it says goes into a file."""
    with Path(said).open("w", encoding="utf-8") as file:
        os.dup2(file.fileno(), 1)
        os.dup2(file.fileno(), 2)
    os.close(0)
    from loomproof.cli.main import main as command

    command(arguments)


@dataclass(frozen=True)
class Run:
    """How one run ended. ``finished``: it was over before it could be stopped."""

    name: str
    released: bool
    said: str
    true: bool
    finished: bool
    code: int | None


def stopped(scanner: Listening, context: Any, folder: Path, rng: random.Random, number: int) -> Run:
    """Prove, and stop it at a random moment from its first command on."""
    which = rng.choice(SIGNALS)
    scanner.done.clear()
    scanner.heard.clear()
    said = folder / f"{number}.txt"
    words = (
        "prove",
        LOOM,
        "--bench",
        f"tcp:127.0.0.1:{scanner.port}",
        "--adapter",
        "in-order",
        "--made-safe",
    )
    rest = ("--made-safe", "--out", folder / str(number), "--store", folder / f"{number}.sqlite")
    process = context.Process(target=host, args=([str(w) for w in (*words, *rest)], str(said)))
    process.start()
    scanner.heard.wait(LONGEST_S)
    time.sleep(rng.choice((0.02, 0.1, 0.4, 1.0)) * rng.random())
    with contextlib.suppress(ProcessLookupError):
        os.kill(process.pid, which)
    process.join(LONGEST_S)
    if process.exitcode is None:
        process.kill()
        process.join()
    text = said.read_text(encoding="utf-8")
    at = [n for n, body in enumerate(scanner.done) if body.startswith(DRIVES)]
    let_go = [n for n, body in enumerate(scanner.done) if body == "ROUT:OPEN:ALL"]
    released = not at or bool(let_go and let_go[-1] > at[-1])
    flat = " ".join(text.split())
    told = next((name for name in (RELEASED, NOT_RELEASED, NOTHING_DRIVEN) if name in flat), "")
    finished = process.exitcode in (0, 1, 4)
    true = released if told == RELEASED else not at if told == NOTHING_DRIVEN else bool(told) or finished
    return Run(which.name, released, told, true, finished, process.exitcode)


def runs_of(count: int, seed: int) -> list[Run]:
    """Stop so many proofs."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["loomproof.cli.main", "loomproof.jobs.prove"])
    rng = random.Random(f"stopping/{seed}")
    with tempfile.TemporaryDirectory() as folder:
        before = {name: os.environ.get(name) for name in ("HOME", "XDG_DATA_HOME", "LOOMPROOF_HOME")}
        os.environ |= dict.fromkeys(before, folder)
        try:
            with listening() as scanner:
                return [stopped(scanner, context, Path(folder), rng, number) for number in range(count)]
        finally:
            for name, value in before.items():
                os.environ.pop(name, None)
                if value is not None:
                    os.environ[name] = value


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the campaign; 0 where every scanner was released and every word was true."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--runs", type=int, default=300)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--short", action="store_true")
    given = parser.parse_args(arguments)
    began = time.monotonic()
    runs = runs_of(12 if given.short else given.runs, given.seed)
    rows = Counter((run.name, run.said or ("finished" if run.finished else "nothing")) for run in runs)
    lines = ["| order | what was said | runs |", "| --- | --- | --- |"]
    lines += [f"| {name} | {said} | {rows[name, said]} |" for name, said in sorted(rows)]
    bad = [run for run in runs if not (run.released and run.true)]
    lines += [
        "",
        f"Released, as the scanner saw it: {sum(run.released for run in runs)} of {len(runs)}; words true: "
        f"{sum(run.true for run in runs)} of {len(runs)}.",
        *(str(run) for run in bad),
    ]
    table_file("campaign", "stopping", lines, time.monotonic() - began, short=given.short)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
