"""A person with a meter, for tests: probes on the simulated loom, and now and then a slip."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from loomproof.jobs.hand_questions import HandAsked, HandKind, HandReply, Wish
from loomproof.judgement.inspection import Inspection
from loomproof.loom.model import End, Loom
from loomproof.planning.hookup_plan import HookUp
from loomproof.virtual.scanner import Scanner


@dataclass
class AtTheLoom:
    """Touches what it is told to on a loom with faults; the meter beeps under ``beeps_ohm``.

    ``before`` is asked before each answer and may return a wish, or an answer of its own, instead.
    """

    loom: Loom
    faults: Sequence[str] = ()
    beeps_ohm: float = 40.0
    seed: int = 0
    before: Callable[[HandAsked], HandReply | None] = lambda _: None
    asked: list[HandAsked] = field(default_factory=list)
    left_out: list[HandAsked] = field(default_factory=list)
    touches: int = 0
    on: set[End] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.scanner = Scanner(self.loom, faults=self.faults, seed=self.seed)
        self._rng = random.Random(self.seed)

    def confirm(self, statement: str) -> bool:
        return True

    def type_voltage(self, volts: float) -> bool:
        return False

    def inspect(self, items: Sequence[tuple[str, str]]) -> Inspection:
        return Inspection()

    def hold_probe(self, end: End | None) -> bool:
        return end is None

    def plug(self, hook_up: HookUp, number: int) -> bool:
        return False

    def read_meter(self) -> float | None:
        return 0.0

    def beep_limit(self) -> str:
        return "30-60"

    def mask(self, ends: Sequence[End]) -> int:
        return sum(1 << self.loom.cavities.index(end) for end in ends)

    def ohm(self, black: Sequence[End], red: Sequence[End]) -> float:
        return self.scanner.true_resistance(self.mask(red), self.mask(black), 0.0)

    def probe(self, asked: HandAsked) -> HandReply:
        self.asked.append(asked)
        if (instead := self.before(asked)) is not None:
            if instead.wish is Wish.LEAVE_OUT:
                self.left_out.append(asked)
            return instead
        match asked.kind:
            case HandKind.TRY:
                return HandReply(figure=1.0)
            case HandKind.ZERO:
                return HandReply(figure=0.2)
            case HandKind.OHMS:
                self.touches += 2
                shown = self.ohm(asked.black, asked.red) + 0.2
                return HandReply(figure=round(shown, 1) if shown < 2e6 else math.inf)
            case HandKind.DIODE:
                self.touches += 2
                volts = self.scanner.diode(self.mask(asked.red), self.mask(asked.black), 0.0)
                return HandReply(figure=volts if volts < 3.0 else math.inf)
            case _:
                return HandReply(beeped=tuple(self._sweep(asked)))

    def _sweep(self, asked: HandAsked) -> list[End]:
        self.touches += len(set(asked.black) - self.on)
        self.on = set(asked.black)
        beeped = []
        for red in asked.red:
            self.touches += 1
            if self.ohm(sorted(self.on), [red]) < self.beeps_ohm:
                beeped.append(red)
            elif asked.kind is HandKind.CHAIN:
                self.touches += 1
                self.on.add(red)
        return beeped


BACK, STOP, LEAVE_OUT = (HandReply(wish) for wish in Wish)
