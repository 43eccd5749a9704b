"""Random looms with parts of all kinds, proved over the link: is every verdict and every claim true?

Benches, truth and oracle are the campaign's own (`truth`, `true_benches`, `grade_oracle`, `claim_truth`).
Parts: ``mixed``, a loom each on one of several benches; ``benches``, the same looms on five benches from
±0.5 Ω to ±1 mΩ, with the share of each grade; ``matrix``, on a switch matrix with a meter.

A loom is drawn from its number and the seed alone. Broken off, the table of what is done is written.
"""

from __future__ import annotations

import argparse
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from loomproof.errors import LoomproofError
from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import Loom
from loomproof.results.document import Verdict
from loomproof.results.findings import Severity
from loomproof.results.grade import Grade
from tests.bench import torture
from tests.campaign.claim_truth import false_claims, false_grade, grade_of, hidden_faults, uncovered
from tests.campaign.first_place import is_first
from tests.campaign.first_proof import prove_once
from tests.campaign.grade_oracle import Oracle
from tests.campaign.true_benches import Make, Meter, TrueScanner, matrix_bench, scanner_bench
from tests.campaign.verdict_looms import faults_of, loom_of
from tests.diagnosis.injector import Injected
from tests.results import table_file

USUAL = Make("±0.1 Ω")
MIXED = (
    USUAL,
    USUAL,
    Make("±0.1 Ω, no diode test", diode=False),
    Make("four wires ±5 mΩ", 0.005, 0.002, (0.001, 1e8), four_wire=True),
    Make("four wires, from 0.1 Ω", 0.004, 0.0005, (0.1, 1e6), four_wire=True, diode=False),
    Make("to 50 kΩ", ohms=(0.01, 50e3)),
    Make("inputs of 11 kΩ", sense_ohm=11_000.0, supply_v=5.0),
    Make("no ohms", ohms=None),
)
FIVE = (
    Make("±0.5 Ω", 0.5, 0.02, (0.1, 1e6), diode=False),
    Make("±0.1 Ω", 0.1, 0.01),
    Make("±20 mΩ", 0.02, 0.005, (0.01, 1e7)),
    Make("±5 mΩ", 0.005, 0.002, (0.001, 1e8), four_wire=True),
    Make("±1 mΩ", 0.001, 0.001, (0.0001, 1e8), four_wire=True),
)
MATRIX = Make(
    "matrix ±2 mΩ",
    0.002,
    0.0005,
    (0.001, 1e8),
    diode=False,
    four_wire=True,
    sense_ohm=None,
    test_v=12.0,
    test_a=0.001,
)

REFUSED = "no verdict"
WRONG = ("false pass", "false fail", "not decided", "false claim", REFUSED)
SHOWN = 60


@dataclass(frozen=True)
class Case:
    """One loom with its faults, and the bench it is proved on."""

    seed: str
    loom: Loom
    faults: tuple[Injected, ...]
    make: Make
    demand: Grade | None = None


@dataclass(frozen=True)
class Result:
    """What came of a case. ``wrong``: kind and reason of each thing that is not so."""

    case: Case
    kind: str
    verdict: str
    grade: str = ""
    wrong: tuple[tuple[str, str], ...] = ()
    findings: tuple[str, ...] = ()
    first: bool = False
    seconds: float = 0.0

    @property
    def single(self) -> bool:
        """Whether it is one fault that had to be told and was found."""
        return len(self.case.faults) == 1 and self.kind == "must fail" and self.verdict == Verdict.FAIL


@dataclass
class Tally:
    """What came of a part of the campaign."""

    part: str
    asked: int
    results: list[Result] = field(default_factory=list)

    def wrong(self, kind: str) -> list[Result]:
        """Return the results that hold this kind of wrong."""
        return [r for r in self.results if any(each == kind for each, _ in r.wrong)]

    @property
    def singles(self) -> list[Result]:
        """Those with one fault that was found."""
        return [r for r in self.results if r.single]


def case_of(part: str, seed: int, number: int) -> Iterator[Case]:
    """Yield the cases of one number: a loom, or the same loom on five benches."""
    own = random.Random(f"{part}/{seed}/{number}")
    loom = loom_of(own, 40 if part == "matrix" else 300)
    faults = faults_of(own, loom, own.choice((0, 0, 1, 1, 1, 1, 2, 3)))
    makes = {"mixed": (own.choice(MIXED),), "benches": FIVE, "matrix": (MATRIX,)}[part]
    for make in makes:
        demand = Grade.CONNECTIONS if part == "mixed" and own.random() < 0.4 else None
        yield Case(f"{part} {seed} {number}", loom, faults, make, demand)


def proved(case: Case, oracle: Oracle, folder: Path) -> Outcome:
    """Prove one case on its bench."""
    if case.make.sense_ohm is None:
        with matrix_bench(Meter(oracle.now, case.make, case.seed), folder) as bench:
            return torture.run(case.loom, bench, time.monotonic, meter_v=0.0)
    with scanner_bench(TrueScanner(oracle.now, case.make, case.seed)) as bench:
        return prove_once(case.loom, bench, folder, grade=case.demand)


def result_of(case: Case, folder: Path) -> Result:
    """Prove a case and hold what is said against the truth."""
    oracle = Oracle(case.loom, case.faults, case.seed, case.make)
    judgement = oracle.judged()
    begun = time.monotonic()
    try:
        outcome = proved(case, oracle, folder)
    except (LoomproofError, AssertionError, ArithmeticError, LookupError, ValueError, TypeError) as error:
        told = f"{type(error).__name__}: {error}"
        return Result(case, judgement.kind, REFUSED, wrong=((REFUSED, told),))
    seconds = time.monotonic() - begun
    document, verdict = outcome.document, outcome.document.verdict
    wrong: list[tuple[str, str]] = []
    claims = false_claims(document, oracle)
    if verdict == Verdict.PASS:
        reasons = [*judgement.must_fail, *judgement.never_pass, *claims]
        reasons += [*hidden_faults(document, oracle), *uncovered(document, oracle)]
        reasons += false_grade(document, oracle)
        wrong += [("false pass", "; ".join(reasons[:3]))] if reasons else []
    elif claims:
        wrong.append(("false claim", "; ".join(claims[:2])))
    if verdict == Verdict.FAIL and not (judgement.must_fail or judgement.differs):
        wrong.append(("false fail", "nothing is out of what a sound loom can have"))
    if verdict == Verdict.UNDECIDED:
        if judgement.must_fail:
            wrong.append(("not decided", f"must fail: {judgement.must_fail[0]}"))
        elif judgement.kind == "sound":
            wrong.append(("not decided", f"sound: {'; '.join(document.reasons[:2])}"))
    faults = [f for f in outcome.findings if f.severity is Severity.FAULT]
    first = bool(faults) and len(case.faults) == 1 and is_first(case.faults[0], faults[0], oracle)
    titles = tuple(f"{f.cause}: {f.title}" for f in faults)
    return Result(case, judgement.kind, verdict, grade_of(document), tuple(wrong), titles, first, seconds)


def run(part: str, looms: int, seed: int, *, first: int = 0, loud: bool = False) -> Tally:
    """Prove so many looms; broken off (Ctrl-C or a request to end), what is done is returned."""
    tally = Tally(part, looms)
    begun = said = time.monotonic()
    with tempfile.TemporaryDirectory() as place:
        try:
            for number in range(first, first + looms):
                for case in case_of(part, seed, number):
                    result = result_of(case, Path(place))
                    tally.results.append(result)
                    if loud and result.wrong:
                        print(told_of(result), file=sys.stderr, flush=True)
                if loud and time.monotonic() - said > 20:
                    said = time.monotonic()
                    done = number - first + 1
                    print(
                        f"{done} of {looms}, {done / (said - begun):.1f} looms/s", file=sys.stderr, flush=True
                    )
        except KeyboardInterrupt:
            print(f"broken off after {len(tally.results)} proofs", file=sys.stderr)
    return tally


def told_of(result: Result) -> str:
    """Return a line for a result that holds something wrong."""
    case = result.case
    faults = "; ".join(fault_text(fault) for fault in case.faults) or "no fault"
    why = " | ".join(f"{kind.upper()}: {reason}" for kind, reason in result.wrong)
    return (
        f"- {case.seed} on {case.make.name}, {len(case.loom.cavities)} cavities: {faults}: {result.verdict} "
        f"{result.grade}, {result.kind}: {why}"
    )


def fault_text(fault: Injected) -> str:
    """Return a fault in words."""
    where = (*fault.wires, *map(str, fault.ends), *fault.parts, *fault.connectors)
    return " ".join((fault.kind, *([f"{fault.ohm:g}"] if fault.ohm else []), *where))


def table(tally: Tally) -> list[str]:
    """Return the lines of one part."""
    results = tally.results
    verdicts = [*map(str, (Verdict.PASS, Verdict.UNDECIDED, Verdict.FAIL)), REFUSED]
    classes = Counter((r.kind, r.verdict) for r in results)
    rows = [f"## {tally.part}", "", f"| truth | {' | '.join(verdicts)} | all |"]
    rows.append("| --- |" + " ---: |" * (len(verdicts) + 1))
    for kind in ("must fail", "may be undecided", "sound, in doubt", "sound"):
        counts = [classes[kind, verdict] for verdict in verdicts]
        rows.append(f"| {kind} | {' | '.join(map(str, counts))} | {sum(counts)} |")
    rows += [
        "",
        f"| bench | proofs | {' | '.join(WRONG)} | passes by grade |",
        "| --- | ---: |" + " ---: |" * 5 + " --- |",
    ]
    for name in dict.fromkeys(r.case.make.name for r in results):
        those = [r for r in results if r.case.make.name == name]
        wrong = [sum(any(each == kind for each, _ in r.wrong) for r in those) for kind in WRONG]
        grades = Counter(r.grade or "not stated" for r in those if r.verdict == Verdict.PASS)
        shares = ", ".join(f"{grade} {count / len(those):.1%}" for grade, count in sorted(grades.items()))
        rows.append(f"| {name} | {len(those)} | {' | '.join(map(str, wrong))} | {shares or '-'} |")
    singles = tally.singles
    alone = sum(len(r.findings) == 1 for r in singles)
    first = sum(r.first for r in singles)
    both = sum(r.first and len(r.findings) == 1 for r in singles)
    total = max(len(singles), 1)
    seconds = sum(r.seconds for r in results) / max(len(results), 1)
    rows += [
        "",
        f"Single faults found: {len(singles)}; exactly one finding {alone / total:.2%}, right place first "
        f"{first / total:.2%}, both {both / total:.2%}. {1e3 * seconds:.0f} ms a proof.",
        "",
        *(told_of(r) for r in [r for r in results if r.wrong][:SHOWN]),
    ]
    more = sum(bool(r.wrong) for r in results) - SHOWN
    return [*rows, *([f"- and {more} more"] if more > 0 else []), ""]


def good_enough(tally: Tally) -> bool:
    """Whether nothing is wrong, and 99 % of single faults have one finding with the right place first."""
    both = sum(r.first and len(r.findings) == 1 for r in tally.singles)
    return not any(r.wrong for r in tally.results) and both >= 0.99 * len(tally.singles) - 1


LOOMS = {"mixed": (5000, 60), "benches": (2000, 8), "matrix": (300, 5)}
"""How many looms of each part, in a full run and in a short one."""


def main(argv: list[str] | None = None) -> int:
    """Run the campaign and write its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=20261128)
    parser.add_argument("--looms", type=int)
    parser.add_argument("--first", type=int, default=0, help="number of the first loom")
    parser.add_argument("--part", choices=sorted(LOOMS), action="append")
    options = parser.parse_args(argv)
    parts: Sequence[str] = options.part or tuple(LOOMS)

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)
    good = True
    for part in parts:
        begun = time.monotonic()
        looms = options.looms or LOOMS[part][options.short]
        tally = run(part, looms, options.seed, first=options.first, loud=True)
        done = len({r.case.seed for r in tally.results})
        rows = [f"Seed {options.seed}, {done} looms of {looms} asked for.", "", *table(tally)]
        partly = options.short or options.first > 0 or options.looms is not None
        command = f"python -m tests.campaign.verdicts --part {part}"
        seconds = time.monotonic() - begun
        table_file("campaign", f"verdicts_{part}", rows, seconds, short=partly, command=command)
        good = good and done == looms and good_enough(tally)
        if done < looms:
            break
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
