"""How the command line is asked for what an error or a prompt says that the program can do."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from loomproof.errors import Do, InputError, LoomproofError, Problem, Todo
from loomproof.screens import notes

if TYPE_CHECKING:
    from loomproof.loom.lists.questions import Question

COMMANDS = {
    Todo.ADAPTER: "loomproof adapter new LOOM --to FILE makes one. "
    "--adapter in-order takes the description's own order.",
    Todo.ALL: "--all shows them.",
    Todo.ANSWER: "Say --answer {on:QUESTION=ANSWER}.",
    Todo.BEEPS: 'Write it into the address: --bench "hand:?beeps=50", or beeps=30-60.',
    Todo.CABLE: "Use --tcp PORT and the address tcp:127.0.0.1:PORT.",
    Todo.CERTIFICATE: "loomproof certificate {on:RUN} writes its certificate, with --json its sealed record.",
    Todo.CHECK_ADAPTER: "loomproof adapter check TABLE LOOM --all shows all of it.",
    Todo.CHECK_LOOM: "See loomproof check {on:LOOM}.",
    Todo.CHECK_RECORDS: "loomproof records check looks at everything.",
    Todo.COLUMNS: "Give --heading-row its row, or name the columns: --column from=A --column to=B, "
    "or of a list of nets --column net=A --column place=B; --sheet names another table.",
    Todo.CONFIRM: "Answer y at the prompt, or pass --made-safe.",
    Todo.DATASET: "loomproof records dataset {on:FOLDER} makes one of a store.",
    Todo.DECIMAL: "Say --decimal {on:MARK}",
    Todo.DEMO: "loomproof demo shows the whole job on a simulated bench.",
    Todo.FINDINGS: "loomproof findings {on:RUN} shows what was found.",
    Todo.FIT: "loomproof fit {on:LOOM} says which ends go where.",
    Todo.GO_ON: "Go on with: loomproof prove {on:LOOM --bench ADDRESS --continue RUN}",
    Todo.GO_ON_TRACE: "Go on with: loomproof trace {on:LOOM --bench ADDRESS --to DIR --continue}",
    Todo.HAND_OVER: "loomproof records hand-over does it now, and shows what waits.",
    Todo.HARNESS: "loomproof import --harness {on:NAME} makes a loom of one.",
    Todo.HAZARD: "Say it with --hazard CONNECTOR=HAZARD.",
    Todo.HOOK_UPS: "--hook-ups proves it plug by plug; loomproof plan shows how.",
    Todo.IMPORT: "loomproof import makes one of a KBL file or a from-to list.",
    Todo.KNOW_SIGNER: "Once you know whose it is: loomproof key know NAME {on:KEY}",
    Todo.LOOM: "--loom FOLDER names it where the command has it.",
    Todo.METER_VOLTS: "--meter-volts V gives the reading.",
    Todo.NEW_ADAPTER: "loomproof adapter new LOOM --to FILE makes one.",
    Todo.NEW_KEY: "Run: loomproof key replace",
    Todo.NEW_LOOM: "loomproof new TARGET writes an example.",
    Todo.NO_WATCH: "Without --watch nothing is watched.",
    Todo.OHMS: 'Prove with --bench "hand:?ohms".',
    Todo.OLD_KEY: "Run: loomproof key replace --with FILE",
    Todo.OUT: "--out names another one.",
    Todo.OVER: "Or say --over.",
    Todo.PLAN: "loomproof plan LOOM --json FILE writes one.",
    Todo.PROBE: "loomproof prove --probe reads them.",
    Todo.PROFILES: "loomproof bench profiles lists them; with a name it prints one.",
    Todo.PROVE: "loomproof prove {on:LOOM} --bench ADDRESS --adapter FILE proves it.",
    Todo.PROVE_HERE: "loomproof prove {on:LOOM} proves it on the bench of workshop.toml.",
    Todo.REPEATS: "Prove with --repeats {on:N}.",
    Todo.REPLAY: "loomproof replay {on:JOURNAL} LOOM shows it.",
    Todo.RESISTOR: "Run: loomproof bench selftest --resistor A,B,OHM",
    Todo.RESTORE: "Run: loomproof records restore FILE",
    Todo.RESUME: "--resume goes on with it.",
    Todo.RETEST: "loomproof retest {on:RUN} LOOM --bench ADDRESS proves again what was mended.",
    Todo.RUNS: "loomproof log lists them.",
    Todo.RUNS_OF_LOOM: "loomproof log LOOM lists the proofs of one loom.",
    Todo.SEALED_RECORD: "loomproof certificate --json writes it.",
    Todo.SELFTEST: "Run: loomproof bench selftest",
    Todo.SERIAL: "loomproof records correct {on:RUN} --why TEXT --serial SERIAL corrects it.",
    Todo.SHORTED: "Run: loomproof bench selftest --shorted --adapter FILE",
    Todo.SIGNERS: "loomproof key signers lists them.",
    Todo.SIMULATE: "Run loomproof simulate LOOM, and give the address that it prints.",
    Todo.SPLIT: "Say --split {on:CONNECTOR}.",
    Todo.TAKE_IN: "--store FILE names a new one; loomproof records import takes them in.",
    Todo.TRACE: "loomproof trace --adapter FILE --bench ADDRESS --to DIR learns one.",
    Todo.WAIT: "--wait gives more time for each end.",
    Todo.ZERO: "Run: loomproof bench zero --adapter {on:FILE}",
    Todo.ZERO_OPEN: "Run: loomproof bench zero --open --bench ADDRESS --adapter {on:FILE}",
    Todo.ZERO_OR_RESISTOR: "Run: loomproof bench zero --adapter {on:FILE}, or: "
    "loomproof bench selftest --resistor A,B,OHM",
}
"""What to type for each thing that can be done; ``{on:NAME}`` is what it is done to, NAME where unknown."""


_OF_A_RUN = ("loom", "address", "out", "store", "hazards", "selftest_max_age", "json_file")
"""Options of ``prove``, by their names, that a run keeps nothing of: they are said again to go on."""

_NEW_AT_EACH = ("go_on", "stop_after", "operator", "meter_v")
"""Options of ``trace`` that belong to one start of it and are not said again.

What a person answers for of the bench as it is today (``--made-safe``, ``--meter-volts``) is asked again.
"""


def say_how_to_go_on(stopped: LoomproofError, context: click.Context | None) -> None:
    """Put into an error, where a job can be gone on with, what to type behind its command to do so."""
    do = stopped.do
    if context is None or do is None or do.what not in (Todo.GO_ON, Todo.GO_ON_TRACE):
        return
    of_a_run, words = do.what is Todo.GO_ON, list[str]()
    for option in context.command.params:
        name, said = option.name or "", context.params.get(option.name or "")
        asked = context.get_parameter_source(name) is ParameterSource.COMMANDLINE
        if not (asked or name == "address") or (name not in _OF_A_RUN if of_a_run else name in _NEW_AT_EACH):
            continue
        flag = option.opts[:1] if isinstance(option, click.Option) else []
        if isinstance(option, click.Option) and option.is_flag:
            words += flag
            continue
        for each in said if isinstance(said, tuple) else (said,):
            words += [*flag, typed(str(each))]
    stopped.do = Do(do.what, " ".join((*words, "--continue", *([do.on] if of_a_run else []))))


def typed(word: str) -> str:
    """Return a word as it is typed at a shell: in quotes where it would read it as something else."""
    if re.fullmatch(r"[\w.:/@%+=,-]+", word):
        return word
    return shlex.quote(word) if set(word) & set('"$`\\!') else f'"{word}"'


def say_next(command: str, target: Path) -> None:
    """Say on standard error what is typed next, once something was written."""
    click.echo(f"Next: loomproof {command} {typed(str(target))}", err=True)


def how(do: Do | None) -> str:
    """Return how a thing is asked for, as a sentence; "" for nothing."""
    if do is None:
        return ""
    said = COMMANDS[do.what]
    before, mark, rest = said.partition("{on:")
    if not mark:
        return said
    name, _, after = rest.partition("}")
    return f"{before}{do.on or name}{after}"


def told(problem: Problem) -> str:
    """Return a problem with its place and what to do, and how that is asked for."""
    return notes.told(problem, how)


def lines_of(error: LoomproofError) -> Iterator[str]:
    """Yield what stands below an error: its problems with their places, what to do, how it is asked for."""
    from loomproof.loom.lists.questions import OpenQuestionsError

    if isinstance(error, OpenQuestionsError):
        count = len(error.questions)
        asked = zip(error.problems[:count], error.questions, strict=True)
        yield from (f"{problem} Say {to_answer(question)}." for problem, question in asked)
        yield from map(told, error.problems[count:])
    elif isinstance(error, InputError):
        yield from map(told, error.problems)
    yield from filter(None, (error.cure, how(error.do)))


_OTHERWISE = {
    "net": ", or --answer kind=pins where nothing is joined",
    "connector": ", or --connector NAME where all are of one",
    "from": ', or --column place="…" and --column net="…" where each row is an end',
}
"""What else may be said of a column that a list leaves open."""


def to_answer(question: Question) -> str:
    """Return what to type to answer a question about a list."""
    name, _, what = question.name.partition(" ")
    if name == "column":
        return f'--column {what}="…"{_OTHERWISE.get(what, "")}'
    if name == "connector":
        return f'--{what}-connector NAME, or --column {what}_connector="…" where a column says it'
    said = {"separator": "--separator {!r}", "colour_code": '--colour-code "{}"'}.get(name)
    if said is None:
        if what:
            return " or ".join(f'--answer "{question.name}={answer}"' for answer in question.answers)
        quoted = (f'"{answer}"' if " " in answer else answer for answer in question.answers)
        return " or ".join(f"--answer {name}={answer}" for answer in quoted)
    return " or ".join(map(said.format, question.answers))
