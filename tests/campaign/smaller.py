"""Make a loom with a wrong verdict smaller while the same kind of wrong stays, and write it as a folder.

python -m tests.campaign.smaller mixed 20261128 57 --to out/loom
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from loomproof.loom.model import CavityFacts, Connector, ConnectorKind, End, Loom
from loomproof.loom.writing import write_folder
from tests.campaign.grade_oracle import Oracle
from tests.campaign.verdicts import Case, case_of, fault_text, proved, result_of

Bad = Callable[[Case], bool]


def smaller(case: Case, bad: Bad) -> Case:
    """Return the smallest case found, taking away one thing after the other, that is still bad."""
    shrunk = True
    while shrunk:
        shrunk = False
        for other in _less(case):
            if bad(other):
                case, shrunk = other, True
                break
    return case


def _less(case: Case) -> Iterator[Case]:
    loom = case.loom
    for fault in case.faults:
        yield replace(case, faults=tuple(f for f in case.faults if f is not fault))
    held = {name for f in case.faults for name in (*f.wires, *f.parts)}
    kept_ends = {end for f in case.faults for end in f.ends}
    kept_plugs = {name for f in case.faults for name in f.connectors}
    for plug in loom.connectors:
        if plug.name not in kept_plugs and not any(end.connector == plug.name for end in kept_ends):
            yield from _without(case, held, {plug.name})
    for part in loom.components:
        if part.name not in held:
            yield replace(
                case, loom=replace(loom, components=tuple(p for p in loom.components if p is not part))
            )
    for wire in loom.wires:
        if wire.name not in held:
            yield _told(case, replace(loom, wires=tuple(w for w in loom.wires if w is not wire)))
    used = kept_ends | {end for _, end in loom.walk()}
    bare = [plug for plug in loom.connectors if not set(plug.ends) & used and plug.name not in kept_plugs]
    if bare:
        yield _told(case, replace(loom, connectors=tuple(p for p in loom.connectors if p not in bare)))
    for plug in loom.connectors:
        spare = [end.cavity for end in plug.ends if end not in used]
        if spare and plug.kind is not ConnectorKind.SPLICE and plug.name not in kept_plugs:
            yield from (_cut(case, plug, {cavity}) for cavity in spare)


def _without(case: Case, held: set[str], names: set[str]) -> Iterator[Case]:
    """Yield the case without these connectors and all that is on them."""
    loom = case.loom
    wires = tuple(w for w in loom.wires if not {end.connector for end in w.ends} & names)
    parts = tuple(p for p in loom.components if not {end.connector for end in p.ends} & names)
    if held <= {w.name for w in wires} | {p.name for p in parts}:
        connectors = tuple(plug for plug in loom.connectors if plug.name not in names)
        yield _told(case, replace(loom, wires=wires, components=parts, connectors=connectors))


def _cut(case: Case, plug: Connector, cavities: set[str]) -> Case:
    rows = tuple(row for row in (tuple(c for c in row if c not in cavities) for row in plug.rows) if row)
    connectors = tuple(replace(c, rows=rows) if c is plug else c for c in case.loom.connectors)
    if not rows:
        connectors = tuple(c for c in case.loom.connectors if c is not plug)
    return _told(case, replace(case.loom, connectors=connectors))


def _told(case: Case, loom: Loom) -> Case:
    """Return the case with this loom, facts only of cavities that it still has, as they are now."""
    ends = {end for plug in loom.connectors for end in plug.ends}
    shared = {end for end in ends if len(loom.wires_at.get(end, ())) > 1}
    facts: Sequence[CavityFacts] = [
        replace(fact, shared=fact.end in shared) for fact in case.loom.cavity_facts if fact.end in ends
    ]
    return replace(case, loom=replace(loom, cavity_facts=tuple(f for f in facts if f.spare or f.shared)))


def same_wrong(kinds: set[str], folder: Path) -> Bad:
    """Return whether a case still has one of these kinds of wrong; what cannot be proved has not."""

    def bad(case: Case) -> bool:
        if not case.loom.cavities or not case.loom.wires:
            return False
        if any(
            isinstance(end, End) and end not in set(_all_ends(case.loom))
            for f in case.faults
            for end in f.ends
        ):
            return False
        try:
            return bool(kinds & {kind for kind, _ in result_of(case, folder).wrong})
        except Exception:
            return False

    return bad


def _all_ends(loom: Loom) -> tuple[End, ...]:
    return (*loom.cavities, *loom.splices)


def show(case: Case, folder: Path) -> None:
    """Print all of a case: what is so, what is said."""
    result = result_of(case, folder)
    oracle = Oracle(case.loom, case.faults, case.seed, case.make)
    print(f"{case.seed} on {case.make}")
    for part in case.loom.components:
        print("  part", part.name, part.kind, *(f"{n}={e}" for n, e in part.terminals), end=" ")
        print(part.resistance_ohm, part.forward_v, "" if part.fitted else "pulled")
    for wire in case.loom.wires if len(case.loom.wires) < 25 else ():
        print("  wire", wire.name, wire.a, wire.b, wire.csa_mm2, wire.length_m, wire.circuit)
    print("  faults:", "; ".join(map(fault_text, case.faults)) or "none")
    judgement = oracle.judged()
    for name in ("must_fail", "never_pass", "differs", "doubts"):
        for text in getattr(judgement, name)[:4]:
            print(f"  truth, {name}: {text}")
    print("  said:", result.verdict, result.grade)
    for kind, why in result.wrong:
        print(f"  WRONG, {kind}: {why}")
    document = proved(case, oracle, folder).document
    for finding in document.findings:
        print(f"  {finding.severity} {finding.cause}: {finding.title}")
        for evidence in finding.evidence[:3]:
            print("     ", evidence.text)
    for text in (*document.reasons[:6], *document.not_tested[:6]):
        print("  text:", text)


def command(argv: list[str] | None = None) -> int:
    """Make one case of the campaign smaller and show it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("of", nargs=3, metavar=("PART", "SEED", "NUMBER"))
    parser.add_argument("--bench", help="name of the bench, where a loom is proved on several")
    parser.add_argument("--to", type=Path, help="folder for the loom")
    parser.add_argument("--whole", action="store_true", help="show it as it is")
    options = parser.parse_args(argv)
    part, seed, number = options.of
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        for case in case_of(part, int(seed), int(number)):
            if options.bench not in (None, case.make.name):
                continue
            kinds = {kind for kind, _ in result_of(case, folder).wrong}
            if kinds and not options.whole:
                case = smaller(case, same_wrong(kinds, folder))
            show(case, folder)
            if options.to:
                write_folder(case.loom, options.to, over=True)
    return 0


if __name__ == "__main__":
    sys.exit(command())
