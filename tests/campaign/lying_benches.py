"""Benches that lie, kind by kind, on sound and on faulty looms: does a pass ever rest on a lie?

A run counts where the bench told something that is not so (by more than it states of itself). It should end
as the bench's fault. A false pass is one over a loom that the truth must fail, or with a bound that the truth
is beyond; "meter not checked" in the document's words says that nothing has vouched for the meter.
"True of another loom": each answer is that of an honest bench with another loom on it (`another_loom` proves
that answer for answer), and the verdict is right for that one; no bench can tell this of itself.

All of it twice: on a bench that has nothing but the loom, and on one with two reference resistors on points
of its own (`OHMS`, stated in the adapter table), as a shop can have for little.
"""

from __future__ import annotations

import argparse
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from loomproof.bench.references import Reference
from loomproof.errors import BenchError, LoomproofError
from loomproof.loom.model import Loom
from loomproof.results.document import Document, Verdict
from tests.campaign.another_loom import another_loom
from tests.campaign.claim_truth import false_claims, headline_of
from tests.campaign.first_proof import prove_once
from tests.campaign.grade_oracle import Oracle
from tests.campaign.lies import LIES, Lie, LyingScanner
from tests.campaign.true_benches import Make, scanner_bench
from tests.campaign.verdict_looms import faults_of, loom_of
from tests.campaign.verdicts import fault_text
from tests.results import table_file

TWO = Make("±0.1 Ω", test_a=0.01)
FOUR = Make("four wires ±5 mΩ", 0.005, 0.002, (0.001, 1e8), four_wire=True)
OHMS = (0.47, 47.0)
"""Reference resistors of a series, of 0.1 %: one as a joint has, one as a part has."""
SHARE = 0.95
"""What must end as the bench's fault with references; without, the text of the table says what can't."""
LOOMS = 20
BENCH = "the bench's fault"
UNCHECKED = "meter not checked"
ANOTHER = "true of another loom"
ENDS = (BENCH, ANOTHER, "true pass", "true fail", "false pass", "false fail", "undecided", "broke down")


UNTOLD = f"""## What no bench can tell of itself

Without a known resistance beside the loom these can end as any other proof does, and a pass says
"{UNCHECKED}" wherever nothing known vouches for the meter:

- a gain, constant or slow (twice, half, gain drifts), where no part has close limits: joints may have as much
  as copper has, so a conductor's ohms don't tell a gain;
- what lies within plausible copper (states a hundred times better than it is; saturates just above it): each
  joint may have that;
- what shows nought for all that is less than the uncertainty anyway (nought, a thousandth, offset below
  nought, steps of ohms, drift down), on looms where all is less: a sound meter may read so as well;
- an offset, a drift or a least reading on looms of one net or two, or of a bad joint in each, where too
  little is side by side; noise that did not come again within the readings that are taken again.

With references beside the loom these are told, but for noise that did not come again, and what is stated
better than it is by less than is known of the references and of leads that nobody zeroed. Two points that
are exchanged in the meter only, on one net or on nets that parts join so that sense finds the same of both,
read as two contacts that are exchanged in the loom ("{ANOTHER}"): only a plug of known joins
tells.""".split("\n")


@dataclass(frozen=True)
class Result:
    """How one run ended; ``unchecked``: its words say that nothing has vouched for the meter."""

    lie: str
    number: int
    end: str
    lied: bool
    unchecked: bool = False
    text: str = ""
    referred: bool = False


@dataclass
class Tally:
    """What came of a campaign."""

    results: list[Result] = field(default_factory=list)

    @property
    def counted(self) -> list[Result]:
        """The runs in which something untrue was told."""
        return [r for r in self.results if r.lied]

    @property
    def escaped(self) -> list[Result]:
        """False passes that do not say that the meter was not checked."""
        return [r for r in self.counted if r.end == "false pass" and not r.unchecked]

    @property
    def blamed(self) -> float:
        """The share that ended as the bench's fault."""
        return sum(r.end == BENCH for r in self.counted) / max(len(self.counted), 1)


def references_of(loom: Loom) -> tuple[Reference, ...]:
    """Return reference resistors on the points after those of the loom."""
    first = len(loom.cavities) + 1
    return tuple(Reference(first + 2 * k, first + 2 * k + 1, ohm, ohm / 1000) for k, ohm in enumerate(OHMS))


def result_of(lie: Lie, seed: int, number: int, folder: Path, *, referred: bool = False) -> Result:
    """Prove one loom on one lying bench, with references or without; every second loom has a fault."""
    found = _result_of(lie, seed, number, folder, referred=referred)
    return replace(found, referred=referred)


def _result_of(lie: Lie, seed: int, number: int, folder: Path, *, referred: bool) -> Result:
    own = random.Random(f"lies/{seed}/{number}")
    loom = loom_of(own, 60)
    faults = faults_of(own, loom, number % 2)
    four = number % 4 > 1 if lie.four is None else lie.four
    oracle = Oracle(loom, faults, f"lies {seed} {number}", FOUR if four else TWO)
    references = references_of(loom) if referred else ()
    scanner = LyingScanner(oracle.now, oracle.make, f"{oracle.seed} {lie.name}", lie, references)
    told = "; ".join(map(fault_text, faults)) or "no fault"
    try:
        with scanner_bench(scanner) as bench:
            outcome = prove_once(loom, bench, folder, references=references)
    except LoomproofError as error:
        end = BENCH if isinstance(error, BenchError) or error.exit_code == 3 else "broke down"
        return Result(lie.name, number, end, scanner.lied, text=f"{told}: {error}")
    except (ArithmeticError, AssertionError, LookupError, ValueError, TypeError) as error:
        return Result(lie.name, number, "broke down", scanner.lied, text=f"{told}: {error!r}")
    document = outcome.document
    judgement = oracle.judged()
    unchecked = UNCHECKED in headline_of(document)
    text = told
    match document.verdict:
        case Verdict.PASS:
            reasons = [
                *judgement.must_fail,
                *judgement.never_pass,
                *false_claims(document, oracle, bounds_only=True),
            ]
            end = "false pass" if reasons else "true pass"
            text = f"{told}: {'; '.join(reasons[:2])}"
        case Verdict.FAIL:
            end = "true fail" if judgement.must_fail or judgement.differs else "false fail"
            text = f"{told}: {'; '.join(f.title for f in outcome.findings[:3])}"
        case _:
            end = "undecided"
            text = f"{told}: {'; '.join(document.reasons[:1])}"
    if end in ("false pass", "false fail", "true fail") and _true_of_another(scanner, oracle, document):
        end = ANOTHER
    return Result(lie.name, number, end, scanner.lied, unchecked, text)


def _true_of_another(scanner: LyingScanner, oracle: Oracle, document: Document) -> bool:
    """Whether the bench told what an honest one would of another loom, and the verdict is that one's."""
    other = another_loom(scanner, oracle)
    if other is None:
        return False
    judgement = other.judged()
    if document.verdict == Verdict.FAIL:
        return bool(judgement.must_fail or judgement.differs)
    wrong = judgement.must_fail or judgement.never_pass
    return not wrong and not false_claims(document, other, bounds_only=True)


def run(looms: int, seed: int, lies: Sequence[Lie] = LIES, *, first: int = 0, loud: bool = False) -> Tally:
    """Prove so many looms on each lying bench; broken off, what is done is returned."""
    tally = Tally()
    with tempfile.TemporaryDirectory() as place:
        try:
            for lie in lies:
                here = [
                    result_of(lie, seed, number, Path(place), referred=referred)
                    for referred in (False, True)
                    for number in range(first, first + looms)
                ]
                tally.results += here
                if loud:
                    ends = Counter(r.end for r in here if r.lied)
                    print(f"{lie.name}: {dict(ends)}", file=sys.stderr, flush=True)
        except KeyboardInterrupt:
            print(f"broken off after {len(tally.results)} runs", file=sys.stderr)
    return tally


def table(tally: Tally, seed: int) -> list[str]:
    """Return the report's lines."""
    rows = [f"Seed {seed}.", ""]
    for referred in (False, True):
        part = Tally([r for r in tally.results if r.referred is referred])
        rows += [
            f"## {'With two reference resistors' if referred else 'Nothing but the loom'}",
            "",
            *_part(part),
            "",
        ]
    return [*rows, *UNTOLD]


def _part(tally: Tally) -> list[str]:
    rows = [
        f"| kind | lied | {' | '.join(ENDS)} | says {UNCHECKED} |",
        "| --- | ---: |" + " ---: |" * (len(ENDS) + 1),
    ]
    for name in dict.fromkeys(r.lie for r in tally.results):
        those = [r for r in tally.counted if r.lie == name]
        ends = Counter(r.end for r in those)
        unchecked = sum(r.unchecked for r in those)
        cells = [len(those), *(ends[end] for end in ENDS), unchecked]
        rows.append(f"| {name} | {' | '.join(str(cell or '') for cell in cells)} |")
    false = [r for r in tally.counted if r.end == "false pass"]
    kinds = dict.fromkeys(r.lie for r in tally.escaped)
    rows += [
        "",
        f"{len(tally.results)} runs on {len({r.lie for r in tally.results})} kinds of bench; in "
        f"{len(tally.counted)} of them something untrue was told.",
        f'False passes: {len(false)}; without "{UNCHECKED}" in words: {len(tally.escaped)}'
        + (f" ({', '.join(kinds)})." if kinds else "."),
        f"Ended as the bench's fault: {tally.blamed:.1%}; true of another loom, answer for answer: "
        f"{sum(r.end == ANOTHER for r in tally.counted)}.",
        "",
    ]
    for end in ("false pass", "broke down", "false fail"):
        for kind in dict.fromkeys(r.lie for r in tally.counted if r.end == end):
            those = [r for r in tally.counted if (r.end, r.lie) == (end, kind)]
            rows.append(f"- {end}, {kind}, {len(those)}: loom {those[0].number}, {those[0].text}")
    return rows


def good_enough(tally: Tally) -> bool:
    """Whether no pass rests on a lie unsaid, and with references enough ends as the bench's fault."""
    referred = Tally([r for r in tally.results if r.referred])
    broke = any(r.end == "broke down" for r in tally.results)
    return not tally.escaped and referred.blamed >= SHARE and not broke


def main(argv: list[str] | None = None) -> int:
    """Run the campaign and write its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=20261128)
    parser.add_argument("--looms", type=int, help="looms of each kind")
    parser.add_argument("--first", type=int, default=0, help="number of the first loom")
    parser.add_argument("--kind", help="only kinds with this in their name")
    options = parser.parse_args(argv)
    looms = options.looms or (2 if options.short else LOOMS)
    lies = [lie for lie in LIES if not options.kind or options.kind in lie.name]

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)
    begun = time.monotonic()
    tally = run(looms, options.seed, lies, first=options.first, loud=True)
    rows = table(tally, options.seed)
    partly = options.short or bool(options.kind) or options.looms is not None
    table_file("campaign", "lying_benches", rows, time.monotonic() - begun, short=partly)
    return 0 if good_enough(tally) else 1


if __name__ == "__main__":
    sys.exit(main())
