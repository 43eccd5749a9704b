"""What a command is told of a bench that it drives, of what is on it, and of what was seen to beforehand."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loomproof.cli.kinds import FiniteNumber
from loomproof.cli.options import together

if TYPE_CHECKING:
    from loomproof.jobs.archive import Archive
    from loomproof.jobs.gate import Assured
    from loomproof.jobs.job import Job
    from loomproof.loom.model import Loom
    from loomproof.screens.terminal_operator import TerminalOperator


def _operator(context: click.Context, _: click.Parameter, made_safe: bool) -> TerminalOperator | None:
    """Return who is asked at the terminal for what else must be known."""
    if context.resilient_parsing:
        return None
    from loomproof.screens.terminal_operator import TerminalOperator

    return TerminalOperator(made_safe)


made_safe_option = click.option(
    "--made-safe", "operator", is_flag=True, callback=_operator, help="All cautions are done; do not ask."
)
"""``--made-safe`` of a command that drives something, which gets its ``operator``."""

hazard_option = click.option(
    "--hazard",
    "hazards",
    multiple=True,
    metavar="CONNECTOR=HAZARD",
    help="Say what is at a connector: none, pyrotechnic or 'electronics in place'. Of this and the "
    "description the worse counts.",
)


@dataclass(frozen=True)
class AtBench:
    """What a command was told of a bench that it drives, of what is on it, and of where results go."""

    operator: TerminalOperator
    hazards: tuple[str, ...]
    address: str
    loom: Path | None = None
    adapter: str | None = None
    meter_v: float | None = None
    selftest_max_age: float | None = None
    out: Path = Path("out")
    store: str | None = None

    @cached_property
    def described(self) -> Loom:
        """The loom that is on it. Raises `DescriptionError`."""
        from loomproof.loom.reading import load

        assert self.loom is not None
        return load(self.loom).loom

    @property
    def archive(self) -> Archive:
        """The records in its store."""
        from loomproof.jobs.archive import Archive

        return Archive(self.store)

    def assured(self, loom: Loom) -> Assured:
        """Return what was said beforehand for a loom. Raises `UsageError` for a connector that it has not."""
        from loomproof.jobs.gate import Assured
        from loomproof.loom.choices import hazards_of

        return Assured(hazards_of(loom, self.hazards), self.meter_v, self.selftest_max_age)

    def job(self, **more: Any) -> Job:
        """Return the job, of which ``workshop.toml`` says what nobody says here.

        ``more`` is what else a `Job` takes; ``None`` says nothing.
        """
        from loomproof.jobs.job import Job
        from loomproof.jobs.keep import Keeping

        given = {"adapter": self.adapter, "where": Keeping(self.out, self.store), "loom_path": self.loom}
        said = {name: value for name, value in more.items() if value is not None}
        assured = self.assured(self.described)
        return Job.in_workshop(self.described, self.address, self.operator, assured=assured, **given | said)


driving_options = together(
    "at",
    AtBench,
    click.option(
        "--meter-volts",
        "meter_v",
        type=FiniteNumber(-1000, 1000),
        metavar="V",
        help="Voltage read on the loom with a meter, for a bench that measures none.",
    ),
    hazard_option,
    click.option(
        "--selftest-max-age",
        type=FiniteNumber(0),
        metavar="DAYS",
        help="Refuse a bench whose last self-test is older.",
    ),
    made_safe_option,
    besides=("loom", "address", "adapter", "out", "store"),
)
"""Options of a command that drives a loom, as ``at``, with what else it has of bench, loom and store."""

touching_options = together("at", AtBench, hazard_option, made_safe_option, besides=("loom", "address"))
"""Options of a command that waits for touches of a probe, as ``at``."""
