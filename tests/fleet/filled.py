"""Stores with very many made-up runs in their tables, and what is true of them, by plain counting.

Only the tables are filled, without sealed records: the questions ask nothing else. What each proof adds to
the sums is counted by the store's own code; `truth` counts by another road.
"""

from __future__ import annotations

import datetime
import json
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from sqlalchemy import insert

from loomproof.records.counting import count_from
from loomproof.records.schema import BENCHES, CONFIRMED, FINDING_PLACES, FINDINGS, LOOMS, REPAIRS, RUNS
from loomproof.records.store import Store

KINDS = ("open", "short", "miswire", "high_resistance")
START = datetime.datetime(2024, 1, 30, 22, 0, 0, tzinfo=datetime.UTC)


@dataclass
class Fault:
    number: int
    kind: str
    cause: str
    severity: str
    places: list[tuple[str, str]]


@dataclass
class Proof:
    run_id: int
    loom: str
    serial: str
    bench: str
    person: str
    verdict: str
    ended: datetime.datetime
    kind: str = "proof"
    faults: list[Fault] = field(default_factory=list)


def proofs(seed: int, count: int, looms: int) -> Iterator[Proof]:
    """Yield made-up proofs of so many looms, in the order of their ids; faults stand for a while."""
    rng = random.Random(seed)
    now = START
    standing: dict[int, list[Fault]] = {}
    for run_id in range(1, count + 1):
        now += datetime.timedelta(seconds=rng.randrange(20, 40_000))
        which = rng.randrange(looms)
        if which not in standing and rng.random() < 0.5:
            standing[which] = [_fault(rng, number) for number in range(1, rng.randrange(2, 4))]
        found = standing.get(which, [])
        if found and rng.random() < 0.5:
            del standing[which]  # mended for the next one
        correction = rng.random() < 0.02
        yield Proof(
            run_id,
            f"Loom {which % 40}",
            f"S-{which:05d}" if which % 3 else "",
            f"{'simulated bench' if which % 10 == 0 else f'Maker M{which % 7}'} @ host",
            f"Person {which % 11}",
            "fail"
            if any(each.severity == "fault" for each in found)
            else rng.choice(["pass"] * 9 + ["undecided"]),
            now,
            "correction" if correction else "proof",
            [] if correction else list(found),
        )


def _fault(rng: random.Random, number: int) -> Fault:
    wires = [f"W{rng.randrange(60)}" for _ in range(rng.randrange(3))]
    ends = [f"J{rng.randrange(9)}:{rng.randrange(1, 20):02d}" for _ in range(rng.randrange(1, 3))]
    places = [("wire", name) for name in wires] + [("cavity", name) for name in ends]
    places += [("connector", name.partition(":")[0]) for name in ends]
    if rng.random() < 0.1:
        places.append(("component", f"R{rng.randrange(5)}"))
    return Fault(
        number,
        rng.choice(KINDS),
        rng.choice(("crimp", "leak", "added_part", "worn")),
        "note" if rng.random() < 0.1 else "fault",
        list(dict.fromkeys(places)),
    )


def text(moment: datetime.datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%S.000Z")


CAUSES = ("crimp", "worn", "leak", "withdrawn")


def said_of(proof: Proof) -> Iterator[tuple[int, str, list[str]]]:
    """Yield what was confirmed of a proof: finding, cause, and what the finding had named; by rule."""
    for each in proof.faults if proof.verdict == "fail" and proof.run_id % 3 else ():
        turn = proof.run_id + each.number
        for more in range(1 + turn % 2):
            named = [CAUSES[(turn + n) % 3] for n in range(1 + turn % 3)]
            yield each.number, CAUSES[(turn // 2 + more) % 4], named


def line_of(cause: str, named: Sequence[str]) -> str:
    among = [{"cause": each, "things": [{"what": "wire", "name": "W1"}]} for each in named]
    found = {"cause": cause, "things": [{"what": "wire", "name": "W1"}]}
    return json.dumps({"family": "F", "found": found, "among": among})


def fill(store: Store, made: Sequence[Proof]) -> None:
    """Put proofs into a store's tables."""
    looms: dict[tuple[str, str], int] = {}
    rows: dict[str, list[dict[str, object]]] = {
        name: [] for name in ("runs", "findings", "places", "repairs", "confirmed")
    }
    for proof in made:
        loom_id = looms.setdefault((proof.loom, proof.serial), len(looms) + 1)
        bad = sum(each.severity == "fault" for each in proof.faults)
        rows["runs"].append(
            {
                "id": proof.run_id,
                "run": f"run-{proof.run_id}",
                "kind": proof.kind,
                "loom_id": loom_id,
                "bench": proof.bench,
                "sequence": proof.run_id,
                "previous": "",
                "hash": f"{proof.run_id:064x}",
                "key": "k",
                "verdict": proof.verdict,
                "started": text(proof.ended),
                "ended": text(proof.ended),
                "person": proof.person,
                "adapter": "a",
                "faults": bad,
                "notes": len(proof.faults) - bad,
            }
        )
        for each in proof.faults:
            at = {"run_id": proof.run_id, "number": each.number}
            words = {"kind": each.kind, "cause": each.cause, "severity": each.severity, "title": "made up"}
            rows["findings"].append({**at, **words})
            rows["places"] += [{**at, "what": what, "name": name} for what, name in each.places]
        if proof.verdict == "fail":
            done = {"person": proof.person, "done": text(proof.ended), "words": "mended"}
            rows["repairs"].append({"run_id": proof.run_id, "finding": 0, **done})
        for number, cause, named in said_of(proof):
            told = {"person": proof.person, "said": text(proof.ended), "cause": cause}
            line = line_of(cause, named)
            rows["confirmed"].append({"run_id": proof.run_id, "finding": number, **told, "line": line})
    with store.writing() as connection:
        connection.execute(insert(BENCHES), [{"name": name} for name in {proof.bench: 1 for proof in made}])
        connection.execute(
            insert(LOOMS),
            [
                {"id": number, "name": loom, "serial": serial, "digest": "d", "description": ""}
                for (loom, serial), number in looms.items()
            ],
        )
        for name, table in (
            ("runs", RUNS),
            ("findings", FINDINGS),
            ("places", FINDING_PLACES),
            ("repairs", REPAIRS),
            ("confirmed", CONFIRMED),
        ):
            for first in range(0, len(rows[name]), 5000):
                connection.execute(insert(table), rows[name][first : first + 5000])
        count_from(connection, made[0].run_id)


def fault_key(proof: Proof, each: Fault) -> object:
    """Return what a fault of a loom is known again by."""
    names = {w: frozenset(n for x, n in each.places if x == w) for w in ("wire", "component", "cavity")}
    what = "path" if each.cause in ("leak", "added_part") else each.kind
    place = names["cavity"] if not (names["wire"] or names["component"]) else frozenset()
    return (proof.loom, proof.serial), what, names["wire"], names["component"], place


def confirmed_truth(made: Sequence[Proof], *, simulated: bool) -> list[tuple[str, int, str, str, int, int]]:
    """Return by counting: run, finding, cause, what was named first, in which place it was, of how many."""
    last: dict[object, tuple[str, int, str, str, int, int] | None] = {}
    stood: dict[object, tuple[str, int, str, str, int, int]] = {}
    for p in made:
        if p.bench.startswith("simulated bench") != simulated:
            continue
        last.clear()
        for number, cause, named in said_of(p):
            rank = named.index(cause) + 1 if cause in named else 0
            told = (f"run-{p.run_id}", number, cause, named[0], rank, len(named))
            last[number] = None if cause == "withdrawn" else told
        for each in p.faults:
            if (of := last.get(each.number)) is not None:
                stood[fault_key(p, each)] = of
    return sorted(stood.values())


@dataclass
class Truth:
    """What is true of proofs, counted by hand."""

    looms: int
    proofs: int
    passed: int
    by: dict[str, Counter[str]]
    months: dict[str, tuple[int, int]]
    took_s: list[int]


def truth(made: Sequence[Proof], *, simulated: bool) -> Truth:
    """Count what the questions ask, proof by proof."""
    real = [p for p in made if p.kind == "proof" and p.bench.startswith("simulated bench") == simulated]
    by: dict[str, Counter[str]] = {
        name: Counter()
        for name in ("kind", "connector", "wire", "component", "loom", "month", "bench", "person")
    }
    seen: set[object] = set()
    months: dict[str, list[str]] = {}
    known: set[tuple[str, str]] = set()
    since: dict[tuple[str, str], datetime.datetime] = {}
    took: list[int] = []
    for p in real:
        item, month = (p.loom, p.serial), text(p.ended)[:7]
        if item not in known:
            months.setdefault(month, []).append(p.verdict)
        known.add(item)
        if p.verdict == "fail":
            since.setdefault(item, p.ended)
        elif p.verdict == "pass" and item in since:
            took.append(int((p.ended - since.pop(item)).total_seconds()))
        for each in p.faults:
            key = fault_key(p, each)
            if each.severity != "fault" or key in seen:
                continue
            seen.add(key)
            by["kind"][each.kind] += 1
            by["loom"][f"{p.loom}, {p.serial}" if p.serial else p.loom] += 1
            by["month"][month] += 1
            by["bench"][p.bench] += 1
            by["person"][p.person] += 1
            for thing in ("connector", "wire", "component"):
                by[thing].update({n for x, n in each.places if x == thing})
    return Truth(
        len(known),
        len(real),
        sum(p.verdict == "pass" for p in real),
        by,
        {month: (len(verdicts), verdicts.count("pass")) for month, verdicts in months.items()},
        sorted(took),
    )
