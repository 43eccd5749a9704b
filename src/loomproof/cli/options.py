"""Options that several commands share, each written once."""

from __future__ import annotations

import functools
from collections.abc import Callable, Collection
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from loomproof.cli.kinds import CONNECTOR, FILE, LOOM, READ, FiniteNumber, Said
from loomproof.errors import UsageError

if TYPE_CHECKING:
    from loomproof.jobs.archive import Archive, Wanted
    from loomproof.jobs.workshop import Found
    from loomproof.planning.hookup_search import Constraints
    from loomproof.planning.request import InsulationTest
    from loomproof.results.grade import Grade

F = TypeVar("F", bound=Callable[..., object])


# What workshop.toml stands in for where a command's own options say nothing.


def _workshop(context: click.Context) -> Found:
    """Return the workshop for a command, beside its LOOM where that is a path. Raises `InputError`."""
    from loomproof.jobs.workshop import find

    loom = context.params.get("loom")
    return find(loom if isinstance(loom, Path) else None)


def _store(context: click.Context, _: click.Parameter, value: str | None) -> str | None:
    """Return the store that was named, else the workshop's; ``None`` for the user's own."""
    return value if value is not None or context.resilient_parsing else _workshop(context).store


def _bench(context: click.Context, _: click.Parameter, value: str | None) -> str | None:
    """Return the bench that was named, else the workshop's. Raises `UsageError` where neither is."""
    if value is not None or context.resilient_parsing:
        return value
    named = _workshop(context).workshop.bench
    if not named:
        raise UsageError(
            "no bench is named",
            cure='Give --bench ADDRESS, or write bench = "ADDRESS" into a workshop.toml beside the looms.',
        )
    return named


def _archive(context: click.Context, parameter: click.Parameter, value: str | None) -> Archive | str | None:
    """Return the records in the store that was named; its name alone while a word is completed."""
    if context.resilient_parsing:
        return value
    from loomproof.jobs.archive import Archive

    archive = Archive(_store(context, parameter, value))

    def tell() -> None:
        from loomproof.cli.cures import how
        from loomproof.screens.kept import show_told

        show_told(dict.fromkeys(archive.told), how)

    # Once the command is done: whatever it shows stands alone on its output.
    context.call_on_close(tell)
    return archive


def _archive_unless_counted(
    context: click.Context, parameter: click.Parameter, value: str | None
) -> Archive | str | None:
    """Return the records, or nothing where a data set is asked, which has no store: what it takes to come to
    them is longer than the question."""
    return None if context.params.get("dataset") else _archive(context, parameter, value)


loom_argument = click.argument("loom", type=LOOM)
over_option = click.option("--over", is_flag=True, help="Write over what is there.")
_where = functools.partial(
    click.option,
    "--store",
    metavar="FILE|URL",
    envvar="LOOMPROOF_STORE",
    help="Where the records are: a file, or postgresql://USER@HOST/DATABASE. Else what workshop.toml "
    "names, else the user's data folder.",
)
store_option = _where(callback=_store)
archive_option = _where("archive", callback=_archive)
"""``--store`` of a command that does nothing but read and write records, which it gets as ``archive``."""

counted_option = _where("archive", callback=_archive_unless_counted)
"""The same beside an eager ``--dataset``, where the command gets none."""

answer_option = click.option(
    "--answer", "answers", multiple=True, metavar="CHOICE=ANSWER", help="Answer a choice; repeatable."
)
adapter_option = click.option("--adapter", metavar="FILE|in-order", help="Which point goes to which cavity.")
repeats_option = click.option(
    "--repeats",
    type=click.IntRange(1, 100),
    default=1,
    show_default=True,
    help="How often each resistance is read; fixed beforehand.",
)


def _grade(_context: click.Context, _parameter: click.Parameter, value: str | None) -> Grade | None:
    from loomproof.results.grade import Grade

    return Grade(value) if value else None


grade_option = click.option(
    "--grade",
    callback=_grade,
    type=click.Choice(["wire", "bench", "connections"]),
    help="The least that a pass must show: every joint within its own limit, joints as far as the bench "
    "goes, or joined and apart only. Unless given: bench, or connections where no ohms are measured.",
)
plot_option = click.option("--plot", type=FILE, help="Picture: FILE.svg or FILE.png.")


def bench_option(help_text: str = "As for prove; else what workshop.toml names.") -> Callable[[F], F]:
    """Add ``--bench`` to a command that cannot do without one."""
    return click.option("--bench", "address", metavar="ADDRESS", callback=_bench, help=help_text)


def out_option(what: str) -> Callable[[F], F]:
    """Add ``--out``, the folder that results go to."""
    kind = click.Path(path_type=Path, file_okay=False)
    return click.option("--out", type=kind, default=Path("out"), show_default=True, help=f"Where {what}.")


def all_option(help_text: str) -> Callable[[F], F]:
    """Add ``--all`` to a command that shows long lists in short."""
    return click.option("--all", "everything", is_flag=True, help=help_text)


def colour_code_option(help_text: str, default: str | None = None) -> Callable[[F], F]:
    """Add ``--colour-code``."""
    kind = click.Choice(["IEC 60757", "BS AU 7", "German", "US", "Japanese"], case_sensitive=False)
    return click.option("--colour-code", type=kind, default=default, show_default=True, help=help_text)


def together(
    name: str, make: Callable[..., object], *options: Callable[[Any], Any], besides: Collection[str] = ()
) -> Callable[[Callable[..., object]], Callable[..., object]]:
    """Add options to a command, which gets what ``make`` makes of them, by their names, as one value.

    What the command has of the options and arguments ``besides`` goes into it as well.
    """
    probe = click.Command("", params=[])
    for option in reversed(options):
        option(probe)
    names = [str(parameter.name) for parameter in probe.params]

    def added(command: Callable[..., object]) -> Callable[..., object]:
        @functools.wraps(command)
        def gathered(*args: Any, **values: Any) -> object:
            mine = {each: values.pop(each) for each in (*names, *besides) if each in values}
            return command(*args, **{name: make(**mine)}, **values)

        made: Any = gathered
        for option in reversed(options):
            made = option(made)
        return cast(Callable[..., object], made)

    return added


def _limits(
    split: tuple[str, ...], stay: tuple[str, ...], owned: tuple[str, ...], plugs: Path | None
) -> Constraints:
    """Read what hook-ups are bound to, ``HOUSING=N`` among it. Raises `UsageError`, `AdapterError`."""
    from loomproof.jobs.plugging import read_plugs
    from loomproof.planning.hookup_search import Constraints

    found = {}
    for text in owned:
        housing, _, count = text.rpartition("=")
        if not (housing and count.isascii() and count.isdigit()):
            raise UsageError(f"--owned {text!r} is not of the form HOUSING=N", cure="Like IJ2=3.")
        found[housing] = int(count)
    return Constraints(split, stay, found, None if plugs is None else read_plugs(plugs))


def refuse_limits(limits: Constraints, stop_after: int | None = None) -> None:
    """Refuse what only hook-ups are bound to, where there are none. Raises `UsageError`."""
    if limits.split or limits.stay or limits.owned or limits.plugs or stop_after:
        raise UsageError("--split, --stay, --owned, --plugs, --stop-after go with --hook-ups")


hook_up_options = together(
    "limits",
    _limits,
    click.option("--split", multiple=True, type=CONNECTOR, help="Hook-ups: its leads may go in groups."),
    click.option("--stay", multiple=True, type=CONNECTOR, help="Hook-ups: it stays plugged."),
    click.option(
        "--owned", multiple=True, metavar="HOUSING=N", help="Hook-ups: so many adapter plugs of it."
    ),
    click.option(
        "--plugs",
        type=READ,
        help="Hook-ups: plugs that you have, as an adapter table; leads stay on their points.",
    ),
)
"""Options of a command that plans hook-ups, as ``limits``."""


def _insulation(insulation_v: float | None, insulation_ms: int | None) -> InsulationTest | None:
    """Return the test that is asked for, if one is. Raises `UsageError`."""
    from loomproof.planning.request import InsulationTest

    if insulation_v is not None:
        return InsulationTest(insulation_v, insulation_ms or 1000)
    if insulation_ms is not None:
        raise UsageError(
            "--insulation-ms goes with --insulation VOLT: which voltage?", cure="Say both, or none."
        )
    return None


insulation_options = together(
    "insulation",
    _insulation,
    click.option(
        "--insulation",
        "insulation_v",
        type=FiniteNumber(0, min_open=True),
        metavar="VOLT",
        help="Where all else passes, test insulation at this voltage; you are asked to type it.",
    ),
    click.option(
        "--insulation-ms",
        type=click.IntRange(1, 60_000),
        metavar="MS",
        help="How long the voltage stands before each reading; 1000 unless given.",
    ),
)
"""Options of a command that can test insulation, as ``insulation``."""

certificate_options = together(
    "stated",
    lambda **said: {name: value for name, value in said.items() if value is not None},
    *(
        click.option(f"--{name}", type=Said(), metavar="TEXT", help=help_text)
        for name, help_text in (
            ("serial", "The item's serial, where the description has none or is of many looms."),
            ("condition", "How the loom was on receipt."),
            ("customer", "Whom it is proved for."),
            ("order", "The order that it is proved under."),
            ("authoriser", "Who authorises the certificate."),
        )
    ),
    click.option(
        "--humidity",
        "humidity_pct",
        type=FiniteNumber(0, 100),
        metavar="PERCENT",
        help="Relative humidity at the loom, by your own instrument.",
    ),
)
"""Options of what a person states for the certificate, as ``stated``, by name."""


def _days(context: click.Context, _: click.Parameter, value: str | None) -> tuple[date, date] | None:
    """Read a day, month or year, also in the form of dates that workshop.toml names."""
    if not value:
        return None
    from loomproof.records.selecting import days

    return days(value, _workshop(context).workshop.dates)


def _wanted(
    since: tuple[date, date] | None,
    until: tuple[date, date] | None,
    during: tuple[date, date] | None,
    simulated: bool | None,
    **names: str | None,
) -> Wanted:
    """Return which runs are meant. Raises `UsageError` for days that exclude each other."""
    from loomproof.records.selecting import Wanted

    if during and (since or until):
        raise UsageError("--during says both ends; leave out --from and --to")
    first, last = (since or during or (None,))[0], (until or during or (None,))[-1]
    if first and last and first > last:
        raise UsageError(f"no day is after {first} and before {last}", cure="Exchange --from and --to.")
    return Wanted(first, last, simulated=simulated, **{name: said or "" for name, said in names.items()})


day_option = functools.partial(click.option, metavar="DAY", callback=_days)
selection_options = together(
    "wanted",
    _wanted,
    day_option("--from", "since", help="Ended on this day or later: 2026-11-28, 2026-11 or 2026."),
    day_option("--to", "until", help="Ended on this day or before."),
    day_option("--during", help="Ended in this month, year or day."),
    click.option("--bench", default="", metavar="TEXT", help="On this bench: a part of its name."),
    click.option("--person", default="", metavar="TEXT", help="Proved by: a part of the name."),
    click.option(
        "--verdict", type=click.Choice(["pass", "fail", "undecided", "incomplete"]), help="Of this verdict."
    ),
    click.option("--grade", type=click.Choice(["wire", "bench", "connections"]), help="Passed so."),
    click.option("--simulated/--real", default=None, help="Only simulated benches, or only real ones."),
)
"""Options that say which of the kept runs are meant, as ``wanted``."""
