"""Proofs of a few looms whose joints' readings are known, and what is true of them, by plain counting."""

from __future__ import annotations

import datetime
import random
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import insert

from loomproof.records.schema import READINGS
from loomproof.records.store import Store
from tests.fleet.filled import Proof, fill

START = datetime.datetime(2023, 3, 1, 8, 0, 0, tzinfo=datetime.UTC)
LIMIT = 60_000
UNCERTAINTY = 1_500
"""µΩ, both."""


@dataclass(frozen=True)
class Reading:
    run_id: int
    at: datetime.datetime
    loom: str
    serial: str
    joint: str
    micro_ohm: int | None
    limit: int = LIMIT

    @property
    def bad(self) -> bool:
        return self.micro_ohm is None or 0 < self.limit < self.micro_ohm - UNCERTAINTY


def made(seed: int, looms: int, joints: int, proofs: int) -> tuple[list[Proof], list[Reading]]:
    """Joints of which some rise, some jump over their limit and are mended, some open; most are still."""
    rng = random.Random(seed)
    runs: list[Proof] = []
    readings: list[Reading] = []
    habits = {
        (loom, joint): rng.choice(("still", "still", "rising", "jumping", "opening", "bad at first"))
        for loom in range(looms)
        for joint in range(joints)
    }
    moments = sorted(
        (START + datetime.timedelta(seconds=rng.randrange(700 * 86_400)), loom)
        for loom in range(looms)
        for _ in range(proofs)
    )
    seen: dict[int, int] = {}
    for run_id, (at, loom) in enumerate(moments, 1):
        turn = seen[loom] = seen.get(loom, -1) + 1
        bench = "simulated bench @ host" if loom == 0 else "Maker M1 @ host"
        runs.append(Proof(run_id, f"Loom {loom % 4}", f"S-{loom:02d}", bench, "Person", "pass", at))
        years = (at - START).days / 365.25
        for joint in range(joints):
            habit = habits[loom, joint]
            ohm: int | None = 20_000 + 1_000 * joint + round(rng.gauss(0, 60))
            if habit == "rising":
                ohm = 20_000 + round(12_000 * years + rng.gauss(0, 60))
            elif habit == "jumping" and turn == proofs // 3:
                ohm = LIMIT + 5_000
            elif habit == "opening" and turn >= proofs - 2:
                ohm = None
            elif habit == "bad at first" and turn == 0:
                ohm = LIMIT + UNCERTAINTY + 1
            elif joint == 2 and turn == proofs // 2:
                ohm = LIMIT + UNCERTAINTY  # undecided still: it may be its limit
            elif joint == 1:
                ohm = rng.randrange(-40, 40)
            limit = 0 if joint == joints - 1 else LIMIT
            readings.append(Reading(run_id, at, runs[-1].loom, runs[-1].serial, f"J{joint}:1", ohm, limit))
    return runs, readings


def fill_joints(store: Store, runs: Sequence[Proof], readings: Sequence[Reading]) -> None:
    fill(store, runs)
    rows = [
        {
            "run_id": each.run_id,
            "joint": each.joint,
            "open": int(each.micro_ohm is None),
            "micro_ohm": each.micro_ohm or 0,
            "uncertainty_micro_ohm": UNCERTAINTY,
            "limit_micro_ohm": each.limit,
        }
        for each in readings
    ]
    with store.writing() as connection:
        connection.execute(insert(READINGS), rows)
