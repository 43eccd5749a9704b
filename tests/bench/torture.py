"""One proof over a line that does harm: is its answer right, or a link error in time?

Right means: the same verdict, the same findings and the same nets as over a line without harm. Everything
else that is not a `LinkError` within the contract's time is wrong, other errors included.
"""

from __future__ import annotations

import random
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from loomproof.bench.adapter import in_order
from loomproof.bench.interface import Bench
from loomproof.bench.journal import JournaledBench
from loomproof.bench.scanner import ScannerBench
from loomproof.errors import LinkError
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.planning.request import Request
from loomproof.virtual.build import Hookup
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.device import Clock
from tests.bench.noise import Harm, Noise
from tests.bench.simline import sim_bench
from tests.cleared import cleared

FIXTURES = Path(__file__).parents[2] / "fixtures"
CONTRACT_S = 10.0
LAST_TRY_S = 2.0
LINE_BYTES = 1024

HARMS: dict[str, Harm] = {
    "lost lines": Harm(drop=0.1),
    "lost bytes": Harm(lose_byte=2e-3),
    "doubled lines": Harm(double=0.3),
    "late lines": Harm(late=0.2),
    "cut lines": Harm(cut=0.1),
    "stale replies": Harm(stale=0.5, drop=0.05),
    "resets": Harm(reset=0.01),
    "another number": Harm(wrong_number=0.5, drop=0.05),
    "slow": Harm(slow_s=0.3),
    "too slow": Harm(slow_s=1.2),
    "flood": Harm(flood=0.5, drop=0.05),
    "dead": Harm(dead_after=60),
    "everything": Harm(
        flip=1e-4, lose_byte=1e-4, drop=0.03, double=0.1, cut=0.03, late=0.05, stale=0.1,
        wrong_number=0.1, flood=0.1,
    ),
}  # fmt: skip
"""What lines and devices do wrong, by name."""


@dataclass(frozen=True)
class Result:
    """How one proof ended: ``right``, ``error`` or ``wrong``.

    ``waited_s``: how long it went on without progress before a link error; ``abandoned``: how often
    batches were halved; ``sets_a_batch``: how many sets a sensing command carried on average.
    """

    end: str
    text: str = ""
    waited_s: float = 0.0
    abandoned: int = 0
    sets_a_batch: float = 0.0


@lru_cache
def loom_of(name: str) -> Loom:
    return load(FIXTURES / name).loom


def some_faults(name: str, rng: random.Random) -> tuple[str, ...]:
    """Return none, one or two faults for a loom."""
    loom = loom_of(name)
    wires = [wire.name for wire in loom.wires]
    ends = [str(end) for end in loom.cavities]
    made = [f"open {rng.choice(wires)}"]
    made.append("short {} {}".format(*rng.sample(ends, 2)))
    made.append("swap {} {}".format(*rng.sample(ends, 2)))
    return tuple(rng.sample(made, rng.choice((0, 0, 1, 1, 2))))


def digest_of(outcome: Outcome) -> object:
    """Return what must not depend on the line."""
    return (
        outcome.document.verdict,
        sorted((f.kind, tuple(map(str, f.cavities)), f.wires) for f in outcome.findings),
        sorted(sorted(map(str, group)) for group in outcome.measured.groups),
    )


def placeless(outcome: Outcome) -> object:
    """Return the same without where a fault is looked for: ohms of another meter place it otherwise."""
    return (
        outcome.document.verdict,
        sorted(f.key for f in outcome.document.findings),
        sorted(sorted(map(str, group)) for group in outcome.measured.groups),
    )


def run(
    loom: Loom,
    bench: Bench,
    clock: Callable[[], float],
    on_error: Callable[[], None] = lambda: None,
    meter_v: float | None = None,
) -> Outcome:
    """Prove to the end, with a journal; call ``on_error`` at the moment of a link error."""
    request = Request(loom, in_order(loom.cavities), "run", "2031-05-04T00:00:00Z")
    with (
        tempfile.TemporaryDirectory() as folder,
        JournaledBench(bench, Path(folder) / "journal", clock=clock) as journaled,
    ):
        steps = prove(request, journaled, cleared(loom, journaled, meter_v=meter_v))
        while True:
            try:
                next(steps)
            except StopIteration as stop:
                outcome = stop.value
                assert isinstance(outcome, Outcome)
                return outcome
            except LinkError:
                on_error()
                raise


@lru_cache(maxsize=4096)
def reference(
    name: str,
    faults: Sequence[str],
    line: int,
    make: Make | None = None,
    meter_v: float | None = None,
    digest: Callable[[Outcome], object] = digest_of,
) -> object:
    """Return what a proof over a line without harm says, on a scanner of this make."""
    clock = Clock()
    made = make or Make(len(loom_of(name).cavities), line=line)
    hookup = Hookup.in_order(loom_of(name), made.points)
    with sim_bench(Scanner(loom_of(name), made, hookup=hookup, faults=faults), clock=clock) as bench:
        return digest(run(loom_of(name), bench, clock, meter_v=meter_v))


def torture(
    name: str, harm: Harm, seed: int, *, line: int = LINE_BYTES, faults: tuple[str, ...] | None = None
) -> Result:
    """Prove one loom over one bad line."""
    loom = loom_of(name)
    if faults is None:
        faults = some_faults(name, random.Random(f"{seed}/faults"))
    clock = Clock()
    scanner = Scanner(loom, Make(len(loom.cavities), line=line), faults=faults)
    noise = Noise(Harm(), seed)
    with sim_bench(scanner, harm, seed, clock=clock, noise=noise) as bench:
        return prove_over(name, faults, bench, clock, noise, CONTRACT_S, line)


def prove_over(
    name: str,
    faults: tuple[str, ...],
    bench: ScannerBench,
    clock: Callable[[], float],
    noise: Noise,
    patience_s: float,
    line: int = LINE_BYTES,
    make: Make | None = None,
    meter_v: float | None = None,
    digest: Callable[[Outcome], object] = digest_of,
) -> Result:
    """Prove a loom with these faults over an open line, and hold the answer against one without harm."""
    link = bench.link
    waited: list[float] = []
    end = text = ""
    try:
        found = digest(
            run(loom_of(name), bench, clock, lambda: waited.append(link.now() - link._progress_at), meter_v)
        )
    except LinkError as error:
        # The contract: so long without progress, and the last try that began within it.
        end = "wrong" if waited and waited[0] > patience_s + LAST_TRY_S else "error"
        text = f"{error}"
    except Exception as error:
        end, text = "wrong", f"{faults}: {type(error).__name__}: {error}"
    else:
        expected = reference(name, faults, line, make, meter_v, digest)
        end = "right" if found == expected else "wrong"
        text = "" if found == expected else f"{faults}: {found} in place of {expected}"
    shrunk = dict(bench.statistics().extra)["abandoned"]
    return Result(end, text, max(waited, default=0.0), shrunk, noise.sets_a_batch)
