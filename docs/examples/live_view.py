"""A live view of a proof: events as JSON lines on standard output, answers as lines on standard input.

    python live_view.py LOOM BENCH

Each event is one object: ``event`` is its kind, the rest its fields. A question to the operator is an event
of the kind ``ask``; it is answered by one line of JSON: true or false, a number or null, or, of an
inspection, an object of notes by item. What ends the proof early is an event of the kind ``error``.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any, TextIO

from loomproof.bench.opening import open_bench
from loomproof.errors import LoomproofError
from loomproof.jobs.events import Event
from loomproof.jobs.hand_questions import HandAsked, HandReply, Wish
from loomproof.jobs.job import Job
from loomproof.judgement.inspection import Inspection
from loomproof.loom.model import End
from loomproof.loom.reading import load
from loomproof.planning.hookup_plan import HookUp


def plain(value: Any) -> Any:
    """Return a value as JSON has it: cavities as text, what has no end as "open"."""
    if isinstance(value, End):
        return str(value)
    if isinstance(value, tuple | list | frozenset | set):
        found = [plain(each) for each in value]
        return sorted(found, key=str) if isinstance(value, frozenset | set) else found
    if isinstance(value, float) and value in (float("inf"), float("-inf")):
        return "open"
    if hasattr(value, "__dataclass_fields__"):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    return value


class Page:
    """The other side: writes events, and as the operator asks and takes answers."""

    def __init__(self, answers: TextIO, events: TextIO) -> None:
        self._answers, self._events = answers, events

    def write(self, kind: str, /, **said: Any) -> None:
        """Write one event."""
        self._events.write(json.dumps({"event": kind, **said}, ensure_ascii=False) + "\n")
        self._events.flush()

    def show(self, event: Event) -> None:
        """Write one event of the job."""
        self.write(type(event).__name__, **plain(event))

    def ask(self, what: str, **about: Any) -> Any:
        """Ask, and take the next line as the answer; nobody there, or no JSON, answers nothing."""
        self.write("ask", what=what, **about)
        try:
            return json.loads(self._answers.readline())
        except ValueError:
            return None

    def confirm(self, statement: str) -> bool:
        """Ask whether this holds."""
        return self.ask("confirm", statement=statement) is True

    def type_voltage(self, volts: float) -> bool:
        """Ask to type a test voltage."""
        return bool(self.ask("type_voltage", volts=volts) == volts)

    def read_meter(self) -> float | None:
        """Ask what a meter shows on the loom, V."""
        said = self.ask("read_meter")
        return float(said) if isinstance(said, int | float) and not isinstance(said, bool) else None

    def inspect(self, items: Sequence[tuple[str, str]]) -> Inspection:
        """Ask what was seen, by item."""
        said = self.ask("inspect", items=dict(items))
        notes = said if isinstance(said, dict) else {}
        return Inspection(tuple((name, str(notes[name])) for name, _ in items if name in notes))

    def hold_probe(self, end: End | None) -> bool:
        """Ask to hold the probe on an end, or to take it off."""
        return self.ask("hold_probe", end=plain(end)) is True

    def beep_limit(self) -> str:
        """Ask up to how many ohms a hand meter beeps."""
        return str(self.ask("beep_limit") or "")

    def probe(self, asked: HandAsked) -> HandReply:
        """Have two probes laid, and hear what the meter said; without an answer the run stops."""
        ends = {str(end): end for end in asked.red}
        said = self.ask("probe", kind=asked.kind, black=list(map(str, asked.black)), red=list(ends))
        if not isinstance(said, dict):
            return HandReply(Wish.STOP)
        if "wish" in said:
            return HandReply(Wish(said["wish"]))
        beeped = tuple(ends[name] for name in said.get("beeped", ()) if name in ends)
        return HandReply(beeped=beeped, figure=float(said.get("figure", 0.0)))

    def plug(self, hook_up: HookUp, number: int) -> bool:
        """Ask whether it is plugged so."""
        return self.ask("plug", number=number, on=[unit.name for unit in hook_up.units]) is True


def main(words: Sequence[str]) -> int:
    """Prove LOOM on the bench at BENCH; 0 where it ran to its end, whatever the verdict."""
    folder, address = words
    page = Page(sys.stdin, sys.stdout)
    try:
        with open_bench(address, loom_path=Path(folder)) as bench:
            Job(load(Path(folder)).loom, bench, operator=page).prove().run(page.show)
    except LoomproofError as error:
        page.write("error", message=error.message, cure=error.cure)
        return error.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
