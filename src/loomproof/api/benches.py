"""Benches: opened by address, or simulated with a loom on them."""

from __future__ import annotations

import tempfile
from pathlib import Path

from loomproof.bench import opening
from loomproof.bench.address import SimAddress, parse_address
from loomproof.bench.interface import Bench
from loomproof.loom.model import Loom
from loomproof.loom.writing import write_folder


def open_bench(address: str, *, loom: Loom | Path | str | None = None) -> Bench:
    """Open the bench at an address, and identify it; use it in a ``with`` block, which releases it.

    ``loom`` is what ``sim:`` has on its simulated scanner: a loom, or the path of one. Nothing is driven.
    Raises `UsageError` for an address that cannot be meant, `NoBenchError` where nothing answers,
    `UnfitError` for a device that is no bench.

    >>> import loomproof as lp
    >>> loom = lp.load("fixtures/tail_lamp")
    >>> with lp.open_bench("sim:?fault=open%20W2", loom=loom) as bench:
    ...     bench.identify().model, bench.capabilities().points
    ('simulated scanner', 13)
    >>> bench.released
    True
    """
    where = parse_address(address)
    if not (isinstance(where, SimAddress) and isinstance(loom, Loom)):
        path = None if loom is None or isinstance(loom, Loom) else Path(loom)
        return opening.open_bench(where, loom_path=path)
    with tempfile.TemporaryDirectory(prefix="loomproof-") as folder:
        # The simulator has read the loom when it tells its address.
        path = Path(folder) / "loom"
        write_folder(loom, path)
        return opening.open_bench(where, loom_path=path)


def simulate(
    loom: Loom, *faults: str, points: int | None = None, seed: int | None = None, ohms: bool = True
) -> Bench:
    """Open a simulated scanner with this loom on it, with ``faults`` in it such as ``open W2``.

    ``points`` are as many as the loom has cavities unless given; ``seed`` gives another loom of the same
    kind, with other noise; without ``ohms`` it only senses. Raises `UsageError` for a fault that is none.

    >>> import loomproof as lp
    >>> loom = lp.load("fixtures/tail_lamp")
    >>> with lp.simulate(loom, "open W2", seed=3) as bench:
    ...     job = lp.Job(loom, bench)
    ...     proof = job.prove().run()
    >>> [finding.title for finding in proof.findings]
    ['W2 (black/red) open between BODY:2 and LAMP:2']
    """
    given = {"points": points, "seed": seed}
    options = [(key, str(value)) for key, value in given.items() if value is not None]
    if not ohms:
        options.append(("no-ohms", ""))
    return open_bench(str(SimAddress(faults, tuple(options))), loom=loom)
