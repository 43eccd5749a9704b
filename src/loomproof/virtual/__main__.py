"""The simulator as a process of its own: ``python -m loomproof.virtual LOOM --tcp 0 --points 64``.

It prints its address, takes control lines on standard input and answers each by one line, and ends with its
input, so that it ends with whatever started it. Orders that it refuses are told on standard error; it exits
with 2.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from loomproof.errors import LoomproofError, UsageError
from loomproof.loom.text import pointed

if TYPE_CHECKING:
    from loomproof.virtual.serve import Server


class _Orders(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        raise UsageError(message)


def amount(text: str) -> float:
    """Read a number, its decimals parted by a point or a comma. Raises `ValueError`."""
    return float(pointed(text))


def ohm_and_ratio(text: str) -> tuple[float, float]:
    """Read limits of error, ``0.1:0.01``. Raises `ValueError`."""
    first, ratio = map(amount, text.split(":"))
    if not (0.0 <= first < float("inf") and 0.0 <= ratio < float("inf")):
        raise ValueError(text)
    return first, ratio


def _orders() -> _Orders:
    orders = _Orders(add_help=False, allow_abbrev=False)
    orders.add_argument("loom", type=Path)
    orders.add_argument("--tcp", type=int)
    orders.add_argument("--fault", action="append", default=[])
    orders.add_argument("--adapter", type=Path)
    orders.add_argument("--seed", type=int, default=0)
    orders.add_argument("--temperature", type=amount, default=20.0)
    orders.add_argument("--acc", type=ohm_and_ratio, default=(0.1, 0.01))
    orders.add_argument("--four-wire", type=ohm_and_ratio, nargs="?", const=(0.001, 0.001))
    orders.add_argument("--cap", type=ohm_and_ratio, nargs="?", const=(3e-12, 0.03))
    for name in ("points", "line", "pulls"):
        orders.add_argument(f"--{name}", type=int)
    for name in ("insulation", "driver"):
        orders.add_argument(f"--{name}", type=amount)
    for flag in ("pty", "paced", "no-ohms", "no-diode", "no-volts", "no-watch"):
        orders.add_argument(f"--{flag}", action="store_true")
    return orders


def serving(words: Sequence[str]) -> Server:
    """Return a server on a line of its own, which nobody runs yet.

    Words that cannot be meant raise `UsageError`, and it raises as `loomproof.virtual.starting.simulated`.
    """
    from loomproof.virtual.starting import Kind, simulated

    said = _orders().parse_args(words)
    kind = Kind(
        said.points,
        None if said.no_ohms else said.acc,
        said.four_wire,
        diode=not said.no_diode,
        volts=not said.no_volts,
        watch=not said.no_watch,
        insulation_v=said.insulation or 0.0,
        line_bytes=said.line or 0,
        driver_ohm=said.driver or 0.0,
        pulled_at_once=said.pulls or 0,
        capacitance=said.cap,
    )
    return simulated(
        said.loom,
        kind,
        port=said.tcp,
        pty=said.pty,
        faults=said.fault,
        adapter=said.adapter,
        seed=said.seed,
        temperature_c=said.temperature,
        paced=said.paced,
    )


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def main() -> int:
    """Serve until standard input ends; return the exit code."""
    # Its matrices are small; a linear algebra library that starts a thread per core only gets in the way.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from loomproof.virtual.serve import listen_to_stdin

    try:
        server = serving(sys.argv[1:])
    except LoomproofError as error:
        problems = getattr(error, "problems", ())
        told = (f"{error.blame}: {error.message}", *map(str, problems), error.cure)
        sys.stderr.write("\n  ".join(filter(None, told)) + "\n")
        return error.exit_code
    for name in ("SIGINT", "SIGTERM"):
        signal.signal(getattr(signal, name), lambda *_: server.order(None))
    _say(server.line.address)
    listen_to_stdin(server, stop_at_end=True)
    server.run(_say)
    return 0


if __name__ == "__main__":
    sys.exit(main())
