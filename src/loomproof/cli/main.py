"""The command ``loomproof``: parse, call one function of a room, show.

Commands are imported when they are called, so that ``--help`` answers at once. Every error of the
project's tree ends here, in one handler that says what happened, whose it is and what to do next.
"""

from __future__ import annotations

import atexit
import errno
import gc
import importlib
import os
import sys
import traceback
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import click

from loomproof.cli.completing import VARIABLE, complete
from loomproof.cli.output import Found
from loomproof.errors import LoomproofError, UsageError
from loomproof.screens.streams import output_gone, prepare_streams, refuse_no_text, tell
from loomproof.version import VERSION


class Command(NamedTuple):
    """Where a command lives and what its one line in the help says."""

    where: str
    help: str


COMMANDS: dict[str, Command] = {
    "demo": Command("loomproof.cli.begin:demo", "Run the whole job on a simulated bench."),
    "serve": Command("loomproof.cli.begin:serve", "Show the bench in a browser on this machine."),
    "plan": Command("loomproof.cli.loom:plan", "Show what a proof will ask, and how to hook up a big loom."),
    "prove": Command("loomproof.cli.prove:prove", "Prove a loom on a bench and keep a certificate."),
    "wiggle": Command("loomproof.cli.prove:wiggle", "Watch a loom while you move it; name what lets go."),
    "trace": Command("loomproof.cli.unknown:trace", "Learn an unknown loom and write it down."),
    "name": Command("loomproof.cli.unknown:name", "Say what each end of a traced loom is, touch by touch."),
    "learn": Command("loomproof.cli.unknown:learn", "Describe a loom after others known to be good."),
    "match": Command(
        "loomproof.cli.unknown:match_", "Lay a traced loom on a known one: which plug is which."
    ),
    "merge": Command("loomproof.cli.unknown:merge", "Lay a description over a traced loom."),
    "retest": Command("loomproof.cli.prove:retest", "Prove again what a repair can have touched."),
    "locate": Command("loomproof.cli.prove:locate", "Say where along its wires a finding lies."),
    "replay": Command("loomproof.cli.prove:replay", "Work a reading journal out again."),
    "completion": Command("loomproof.cli.completing:completion", "Have your shell complete what you type."),
    "info": Command("loomproof.cli.begin:info", "Show versions, ports, records and workshop.toml."),
    "new": Command("loomproof.cli.loom:new", "Write a commented example loom to begin with."),
    "import": Command("loomproof.cli.importing:import_", "Make a loom of a list, a netlist, KBL or VEC."),
    "check": Command("loomproof.cli.loom:check", "Check a description and sum it up."),
    "nets": Command("loomproof.cli.loom:nets", "Print the expected netlist."),
    "draw": Command("loomproof.cli.loom:draw", "Draw a loom and its connector faces as SVG."),
    "explain": Command("loomproof.cli.loom:explain", "Show how a limit comes about."),
    "export": Command("loomproof.cli.loom:export", "Write a loom as folder, workbook or KBL."),
    "log": Command("loomproof.cli.records:log", "List the proofs kept, and those broken off."),
    "certificate": Command("loomproof.cli.records:certificate", "Write the certificate of a run."),
    "verify": Command("loomproof.cli.records:verify", "Check certificates and sealed records."),
    "findings": Command("loomproof.cli.records:findings", "Show a run's findings again; take answers."),
    "wires": Command("loomproof.cli.records:wires", "List a run's wires with what is claimed of each."),
    "compare": Command("loomproof.cli.records:compare", "Show what changed from one proof to another."),
    "repaired": Command("loomproof.cli.keeping:repaired", "Note what was done about a finding."),
    "history": Command("loomproof.cli.records:history", "Show a loom's proofs and how its joints moved."),
    "report": Command("loomproof.cli.records:report", "Sum up many looms; export tables."),
    "fit": Command("loomproof.cli.loom:fit", "Say which ends go where in the car, and what to make safe."),
    "label": Command("loomproof.cli.records:label", "Write a printable label for a loom."),
    "records": Command("loomproof.cli.keeping:records", "Back up, restore, check and import records."),
    "adapter": Command("loomproof.cli.bench:adapter", "Make, check and learn adapter tables."),
    "bench": Command("loomproof.cli.bench:bench", "Test the bench itself; learn its leads."),
    "key": Command("loomproof.cli.keeping:key", "Show or replace your key; list signers you know."),
    "simulate": Command("loomproof.cli.simulate:simulate", "Run a simulated scanner with a loom on it."),
}
"""Command name to module:attribute and help line, in the order in which a newcomer meets them."""


JOBS = {
    "Bench-test a salvaged loom": "new, import or trace; check, adapter, plan, prove, wiggle, fit",
    "Verify a repaired harness": "prove, findings, repaired, retest, compare, explain",
    "Keep certificates": "log, certificate, verify, label, report, records",
}
"""The three jobs by the commands that each takes in turn."""

GROUPS = {
    "Begin": "demo serve info completion",
    "Describe a loom": "new import check nets draw explain export trace name learn match merge",
    "Hook it up and prove it": "adapter bench plan prove wiggle simulate replay",
    "Mend it and fit it": "findings locate repaired retest compare fit",
    "Keep certificates": "log certificate verify label wires history report records key",
}
"""Every command under what it is for, as ``--help`` lists them."""


class LazyGroup(click.Group):
    """A group whose commands are imported when they are needed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in the table's order."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        entry = COMMANDS.get(cmd_name)
        if entry is None:
            return None
        module, _, attribute = entry.where.partition(":")
        command = getattr(importlib.import_module(module), attribute)
        assert isinstance(command, click.Command)
        return command

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read ``help`` and ``help COMMAND`` as ``--help`` behind the command."""
        return super().parse_args(ctx, [*args[1:], "--help"] if args[:1] == ["help"] else args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the command list from the table, importing nothing."""
        for heading, names in GROUPS.items():
            with formatter.section(heading):
                formatter.write_dl([(name, COMMANDS[name].help) for name in names.split()], col_max=13)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find a command, with a near miss where the name is misspelt."""
        from loomproof.errors import suggestion

        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            # Whoever types selftest means one of a group, and has not misspelt another command.
            groups = {name: self.get_command(ctx, name) for name in ("adapter", "bench", "records", "key")}
            within = (
                f"{name} {sub}" for name, group in groups.items() for sub in getattr(group, "commands", ())
            )
            meant = [each for each in within if each.split()[1] == args[0]]
            near = f"There is loomproof {meant[0]}." if meant else suggestion(args[0], COMMANDS)
            raise UsageError(f"there is no command {args[0]!r}", cure=near or "loomproof --help lists them.")
        return super().resolve_command(ctx, args)


@click.group(
    cls=LazyGroup, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(VERSION, prog_name="loomproof")
@click.pass_context
def cli(context: click.Context) -> None:
    """Prove a wiring loom on the bench before a plug goes on.

    Battery off, control units unplugged, airbag and belt-tensioner circuits never on the bench.
    """
    if context.invoked_subcommand is None:
        from loomproof.cli.cures import how, typed
        from loomproof.screens.first_page import show_first_page

        last = "Usage: loomproof COMMAND … --help says what one does; loomproof --help lists all by job."
        store = os.environ.get("LOOMPROOF_STORE")
        show_first_page(
            cli.help or "", JOBS, store, lambda do: how(do and replace(do, on=do.on and typed(do.on))), last
        )


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit with its code, which further orders to stop do not change."""
    from loomproof.screens.signals import stopping

    prepare_streams()
    # Values without cycles: to look for those as often as Python does takes a sixth of a large proof.
    gc.set_threshold(50_000, 20, 20)
    # Nor does Python need to look for them in all that is left as it ends: as long again.
    atexit.register(gc.freeze)
    try:
        with stopping(until_the_end=True):
            code = run(arguments)
    except KeyboardInterrupt:  # it came between the command's end and this one
        code = _interrupted()
    except Exception:  # a mistake of the program; Python's own code for it, 1, would say that the loom fails
        traceback.print_exc()
        tell(
            "loomproof: this is a mistake of the program; it claims nothing of a loom. What was sealed stays."
        )
        tell("Report the lines above, with what was typed.", "  ")
        code = 3
    sys.exit(code)


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    found = Found()
    try:
        if asked := os.environ.get(VARIABLE):
            return complete(cli, asked)
        refuse_no_text(sys.argv[1:] if arguments is None else arguments)
        code = cli.main(args=arguments, prog_name="loomproof", standalone_mode=False, obj=found)
        found.code = code if isinstance(code, int) else 0
        sys.stdout.flush()
        return found.code
    except LoomproofError as error:
        say(error)
        return error.exit_code
    except (click.exceptions.Abort, KeyboardInterrupt):
        return _interrupted()
    except click.ClickException as error:
        error.show(file=sys.stderr)
        if "--no-locate" in (getattr(error, "possibilities", None) or ()):
            tell("Where along its wires a finding lies is read anyway, unless --no-locate is said.")
        return 2
    except (BrokenPipeError, SystemExit):
        # The reader of our output went away (rich exits then); nothing is left to say to it.
        output_gone()
        return 3 if found.code is None else found.code
    except OSError as error:
        # A full disk behind the output, or a terminal that was closed; else a file that was named.
        if error.errno in (errno.ENOSPC, errno.EIO):
            output_gone()
            tell(f"loomproof: the output cannot be written: {error.strerror}.")
            return 3
        if error.filename is None:
            raise
        say(UsageError(f"{error.filename}: {error.strerror}"))
        return UsageError.exit_code


def _interrupted() -> int:
    tell("loomproof: stopped before the end.")
    return 3


def say(error: LoomproofError) -> None:
    """Write an error for people: every problem with its place, then what to do, and how that is asked for."""
    from loomproof.cli.cures import lines_of

    tell(f"loomproof: {error.blame}: {error.message}")
    for each in lines_of(error):
        tell(each, "  ")
