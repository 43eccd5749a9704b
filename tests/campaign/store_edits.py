"""Stores changed behind the program's back, and runs stopped or killed while they are sealed.

Each edit of `tests.records.edits` is made on a fresh copy of one data folder; the check must name it, also
after a further proof was sealed. Then a run is sealed with an order to stop, or the process's death, falling
on a random line of the program between the last reading and the end of the command; and at random moments
of whole commands, with real signals. A run is in the store or it is not, and words, files and exit code say
which.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

import click

from loomproof.cli.cures import how
from loomproof.cli.main import COMMANDS, Command, run
from loomproof.cli.output import EXIT_CODES, drawn, held_to_the_end
from loomproof.jobs import keep as keeping
from loomproof.jobs.at_hand import at_hand
from loomproof.jobs.breaking_off import told_when_stopped
from loomproof.judgement.conclude import Outcome
from loomproof.records.keys import KeyFolder
from loomproof.records.store import open_store
from loomproof.results.document import Verdict
from loomproof.screens.printing import show
from tests.records.edits import EDITS, Edit
from tests.records.furnished import furnish
from tests.records.striking import Lines
from tests.records.unsealed_edits import UNSEALED_EDITS
from tests.reports.sample import document
from tests.results import table_file

LOOM = Path(__file__).parents[2] / "fixtures" / "tail_lamp"


class Killed(BaseException):
    """Stands for the death of the process."""


def quietly(*words: str) -> tuple[int, str, str]:
    """Run a command in this process; return its code and what it said."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run(list(words))
    return code, out.getvalue(), err.getvalue()


@contextlib.contextmanager
def at_home(folder: Path) -> Any:
    """Have a data folder in use."""
    before = os.environ.get("LOOMPROOF_HOME")
    os.environ["LOOMPROOF_HOME"] = str(folder)
    try:
        yield
    finally:
        if before is None:
            del os.environ["LOOMPROOF_HOME"]
        else:
            os.environ["LOOMPROOF_HOME"] = before


def one_more(folder: Path) -> None:
    """Seal a further proof as the commands do."""
    made = document(run="later", verdict=Verdict.PASS, started="2026-01-20T09:00:00+00:00")
    with at_hand(None) as hand:
        signer = KeyFolder(folder).signer(document_time())
        hand.seal(made, signer)
        hand.note(signer)


def document_time() -> Any:
    """Return the time at which a key is made, where one has to be."""
    from tests.records.furnished import NOW

    return NOW


def edited(edit: Edit, made: Path, place: Path) -> tuple[bool, str]:
    """Make one edit on a copy; return whether it was named as it must be, and what the later check gives."""
    shutil.copytree(made, place)
    folder = place / "home"
    with at_home(folder):
        edit.do(folder)
        code, _, said = quietly("records", "check")
        named = code == edit.code and edit.said in said
        try:
            one_more(folder)
            later, _, said = quietly("records", "check")
            after = "named" if later == edit.code and edit.said in said else f"exit {later}"
        except Exception as error:
            after = f"no proof can be sealed: {type(error).__name__}"
    shutil.rmtree(place)
    return named, after


def edits(folder: Path) -> tuple[list[str], list[str]]:
    """Return a row for each edit, and those that nobody named."""
    with at_home(folder / "first" / "home"):
        furnish(folder / "first" / "home")
    made = (folder / "first").rename(folder / "then")
    rows, misses = ["| edit | named | after a further proof |", "| --- | --- | --- |"], []
    for edit in ALL:
        named, after = edited(edit, made, folder / "copy")
        rows.append(f"| {edit.name} | exit {edit.code}{'' if named else ': NO'} | {after} |")
        if not named:
            misses.append(edit.name)
    return rows, misses


ALL = (*EDITS, *UNSEALED_EDITS)
SEALING = "seal-finished"
COMMANDS[SEALING] = Command("tests.campaign.store_edits:seal_finished", "Seal and show a finished run.")


@click.command()
def seal_finished() -> int:
    """Seal a finished run beside the data folder in use, and show it, as ``prove`` does."""
    journal = Path(os.environ["LOOMPROOF_HOME"]).parent / "out" / "r.journal.jsonl"
    nothing: Any = None  # what was measured is not looked at once the document is made
    outcome = Outcome(document(run="r", findings=1), nothing, (), nothing)
    with told_when_stopped(journal):
        kept = drawn(keeping.keep(outcome, journal, keeping.Keeping(journal.parent, hold=held_to_the_end)))
    show(kept, how)
    return EXIT_CODES[kept.document.verdict]


def die() -> None:
    """Fall as the death of the process does."""
    raise Killed


def sealing(folder: Path, blow: Any, at: int) -> tuple[int, str, str, bool]:
    """Seal and show a finished run; ``blow`` falls at the ``at``-th line of ours; 0 only counts the lines."""
    journal = folder / "out" / "r.journal.jsonl"
    journal.parent.mkdir()
    journal.write_bytes(b"")
    out, err = io.StringIO(), io.StringIO()
    code, died = -1, False
    with at_home(folder / "home"), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        lines = Lines(at, blow)
        try:
            with lines:
                # What click makes of an order that falls outside of the job is told there as well.
                code = run([SEALING])
        except Killed:
            code, died = 3, True
        except Exception as error:
            # What serialises a document wraps whatever comes out of ours in an error of its own.
            if not (blow is die and "Killed" in str(error)):
                raise
            code, died = 3, True
    return lines.count if at == 0 else code, out.getvalue(), err.getvalue(), died


def judged(folder: Path, code: int, out: str, err: str, *, killed: bool) -> str:
    """Return "" where words, files and code agree with the store, else what is wrong."""
    with at_home(folder / "home"), open_store(None, folder / "home") as store:
        kept = {one.run: one.verdict for one in store.runs()}
    files = [path.name for path in (folder / "out").iterdir()] if (folder / "out").exists() else []
    claims = [name for name in files if ".journal." not in name and not name.endswith(".part")]
    if not kept:
        if claims:
            return f"not sealed, and {claims} is there"
        if killed:
            return ""
        if code != 3:
            return f"not sealed, exit {code}"
        return "" if "stopped" in err else f"stopped, and it said {err[:80]!r}"
    if killed:
        return ""
    (verdict,) = kept.values()
    if code != EXIT_CODES[verdict] or verdict.upper() not in out:
        return f"sealed as {verdict}, exit {code}, said {out[:40]!r}"
    if "nothing is claimed" in err or "stopped" in err:
        return f"sealed, and it said: {err[:80]!r}"
    whole = any(name.endswith(".pdf") for name in files) or "loomproof certificate" in err
    return "" if whole else "sealed, without certificate, and no word of it"


def stops(folder: Path, rng: random.Random, count: int) -> tuple[Counter[tuple[str, str]], list[str]]:
    """Stop or kill a sealing at random lines."""
    counts: Counter[tuple[str, str]] = Counter()
    misses: list[str] = []
    with at_home(folder / "keys-only"):
        KeyFolder(folder / "keys-only").signer(document_time())

    lines = 0
    for number in range(count + 1):
        place = folder / f"stop-{number}"
        shutil.copytree(folder / "keys-only", place / "home")
        kill = bool(number % 2)
        blow = die if kill else lambda: os.kill(os.getpid(), signal.SIGINT)
        at = rng.randint(1, lines) if lines else 0
        code, out, err, died = sealing(place, blow, at)
        if not lines:
            lines = code
            continue
        wrong = judged(place, code, out, err, killed=died)
        came = "killed at a line" if kill else f"SIGINT at a line, {'sealed' if out else 'stopped'}"
        counts[came, "right" if not wrong else "WRONG"] += 1
        if wrong:
            misses.append(f"line {at} of {lines}, {'killed' if kill else 'SIGINT'}: {wrong}")
        shutil.rmtree(place)
    return counts, misses


def signals(folder: Path, rng: random.Random, count: int) -> tuple[Counter[tuple[str, str]], list[str]]:
    """Send real signals to whole commands, most of them in the second half, where runs are sealed."""
    counts: Counter[tuple[str, str]] = Counter()
    misses: list[str] = []
    took_s = 0.0
    for number in range(count + 1):
        place = folder / f"signal-{number}"
        place.mkdir()
        words = [sys.executable, "-m", "loomproof", "prove", str(LOOM), "--bench", "sim:?fault=open%20W1"]
        begun = time.monotonic()
        process = subprocess.Popen(
            [*words, "--out", str(place / "out")],
            env={**os.environ, "LOOMPROOF_HOME": str(place / "home")},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        order = rng.choice([signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGKILL])
        if took_s:
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(rng.uniform(0.3, 1.05) * took_s)
            process.send_signal(order)
        out, err = process.communicate()
        took_s = took_s or time.monotonic() - begun
        code = process.returncode
        wrong = judged(place, code, out, err, killed=code == -signal.SIGKILL)
        # Before the program is there to heed an order, the system ends it.
        if wrong and code in (-signal.SIGINT, -signal.SIGTERM, -signal.SIGHUP) and not out:
            wrong = ""
        counts[order.name if number else "no signal", "right" if not wrong else "WRONG"] += 1
        if wrong:
            misses.append(f"{order.name} at run {number}: {wrong}")
        shutil.rmtree(place)
    return counts, misses


def main(argv: list[str] | None = None) -> int:
    """Run the campaign and write its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=20261128)
    options = parser.parse_args(argv)
    rng = random.Random(options.seed)
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rows, unnamed = edits(folder)
        counts, misses = stops(folder, rng, 6 if options.short else 60)
        more, missed = signals(folder, rng, 3 if options.short else 30)
    rows += ["", "| what came | words, files and exit code | runs |", "| --- | --- | --- |"]
    rows += [f"| {what} | {how} | {n} |" for (what, how), n in sorted((counts + more).items())]
    rows += [
        "",
        f"Edits not named: {len(unnamed)} of {len(ALL)}; runs told wrongly: {len(misses) + len(missed)} of "
        f"{sum((counts + more).values())}; seed {options.seed}.",
        *unnamed,
        *misses,
        *missed,
    ]
    table_file("campaign", "store_edits", rows, time.monotonic() - begun, short=options.short)
    return 1 if unnamed or misses or missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
