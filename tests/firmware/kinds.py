"""Kinds of reference scanner: each as a board with a loom on it, and as the simulated scanner like it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from loomproof.loom.model import Loom
from loomproof.virtual.scanner import Make
from tests.firmware.circuit import Pins, on_expanders
from tests.firmware.emulated import Board
from tests.firmware.expanded import Expanded
from tests.firmware.ohming import OhmBoard, usual
from tests.firmware.on_loom import LIKE_THE_BOARD, LoomOnPins, like_expanders
from tests.firmware.tapped import LIKE_TAPS, LoomOnTaps


@dataclass(frozen=True)
class Kind:
    """A kind: how it is served, what it is like, and the board that carries a loom with faults."""

    name: str
    arguments: tuple[str, ...]
    make: Make
    board: Callable[[Loom, Sequence[str], int], Board]


def _alone(loom: Loom, faults: Sequence[str] = (), seed: int = 1) -> Board:
    return Board(LoomOnPins(Pins.drawn(seed), loom, faults))


def _expanded(loom: Loom, faults: Sequence[str] = (), seed: int = 1) -> Board:
    circuit = LoomOnPins(on_expanders(seed, 128), loom, faults, like_expanders(128))
    circuit.timed = False
    return Expanded(circuit)


def _ohmed(loom: Loom, faults: Sequence[str] = (), seed: int = 1) -> Board:
    return OhmBoard(LoomOnTaps(1, loom, tuple(faults)), 1, eeprom=usual(1))


ALONE = Kind("pins", (), LIKE_THE_BOARD, _alone)
EXPANDED = Kind("expanders", ("--expanders", "8"), like_expanders(128), _expanded)
OHMED = Kind("ohms", ("--ohms",), LIKE_TAPS, _ohmed)
KINDS = {kind.name: kind for kind in (ALONE, EXPANDED, OHMED)}
