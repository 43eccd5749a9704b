"""Each claim of a results document, held against the truth.

Claims are read as anybody reads them who has the document only: kind, cavities, figures and decision.
"""

from __future__ import annotations

import itertools
import json
import math
import re
from collections.abc import Iterator

import networkx as nx

from loomproof.loom.model import End
from loomproof.results.document import ClaimEntry, Document
from loomproof.results.grade import Grade
from tests.campaign.grade_oracle import PART_FAULTS, Oracle
from tests.diagnosis.injector import inside, place

SLACK = 1.0 + 1e-6
"""Figures in a document are rounded."""


def headline_of(document: Document) -> str:
    """Return all that a document says in words beside its claims, the figures of findings left out."""
    plain = document.plain()
    for name in ("claims", "connectors", "coverage", "loom", "adapter", "cautions"):
        plain.pop(name, None)
    return json.dumps(plain, ensure_ascii=False)


def _bound(claim: ClaimEntry) -> float:
    """Return what a claim's reading shows the resistance to be below, Ω."""
    if claim.bound_ohm is not None:
        return claim.bound_ohm
    return (claim.measured_ohm or 0.0) + (claim.uncertainty_ohm or 0.0)


def names(text: str, name: str) -> bool:
    """Whether a text names a part or wire."""
    return re.search(rf"(?<![\w]){re.escape(name)}(?![\w])", text) is not None


def grade_of(document: Document) -> str:
    """Return the grade that a document states, "" where it states none."""
    return str(document.grade or "")


def false_grade(document: Document, oracle: Oracle) -> list[str]:
    """Return what the grade of a pass says that its claims and the description do not bear out."""
    grade = grade_of(document)
    known = set(oracle.loom.cavities)
    bounds: list[tuple[float, float]] = []
    for claim in document.claims:
        ends = [end for end in claim.cavities if end in known]
        if claim.kind == "resistance" and len(ends) == 2 and claim.measured_ohm is not None:
            bounds.append((_bound(claim), oracle.limit_ohm(*ends)))
    beyond = [bound for bound, limit in bounds if bound > limit * SLACK]
    found = []
    if grade == Grade.WIRE and beyond:
        found.append(f"grade wire, and {len(beyond)} bounds lie above their limits, to {max(beyond):.4g} Ω")
    if grade in (Grade.WIRE, Grade.BENCH) and oracle.make.ohms is None:
        found.append(f"grade {grade} without ohms")
    if grade == Grade.BENCH and beyond:
        shown = re.search(r"joints to ([\d.]+) (mΩ|Ω|kΩ): (\d+) of (\d+)", document.grade_text)
        if shown is None:
            found.append(f"grade bench without its bound in words: {document.grade_text}")
        else:
            ohm = float(shown[1]) * {"mΩ": 1e-3, "Ω": 1.0, "kΩ": 1e3}[shown[2]]
            if ohm < 0.99 * max(beyond):
                found.append(f"joints to {ohm:.4g} Ω, and a bound is {max(beyond):.4g} Ω")
            surely = sum(bound > limit * 1.03 for bound, limit in bounds)
            if int(shown[3]) < surely or int(shown[4]) != len(bounds):
                found.append(f"{document.grade_text}, and {surely} of {len(bounds)} bounds are above limits")
    return found


def false_claims(document: Document, oracle: Oracle, *, bounds_only: bool = False) -> list[str]:
    """Return each claim that passes and is not so; ``bounds_only``: a reading above the truth is none."""
    known = set(oracle.loom.cavities)
    wrong = []
    for claim in document.claims:
        ends = [end for end in claim.cavities if end in known]
        for why in _wrong(claim, ends, oracle, bounds_only=bounds_only):
            wrong.append(f"{claim.kind} of {claim.subject} ({claim.statement}): {why}")
    return wrong


def _wrong(claim: ClaimEntry, ends: list[End], oracle: Oracle, *, bounds_only: bool) -> Iterator[str]:
    if claim.kind in ("resistance", "component"):
        yield from _figures(claim, ends, oracle, bounds_only=bounds_only)
    if claim.decision != "pass":
        return
    if claim.kind == "continuity":
        yield from _joined(claim, ends, oracle)
    if claim.kind == "isolation":
        yield from _apart(claim, ends, oracle)


def _figures(claim: ClaimEntry, ends: list[End], oracle: Oracle, *, bounds_only: bool) -> Iterator[str]:
    """A reading with its uncertainty holds the truth, whatever was decided; what passes is in its limit."""
    if len(ends) != 2 or claim.measured_ohm is None or claim.uncertainty_ohm is None:
        return
    a, b = ends
    make = oracle.make
    ways = [oracle.now.read([x], [y], make.test_v, make.series_ohm) for x, y in ((a, b), (b, a))]
    off = [true - claim.measured_ohm if bounds_only else abs(true - claim.measured_ohm) for true in ways]
    if min(off) > claim.uncertainty_ohm * SLACK:
        shown = " or ".join(f"{ohm:.5g}" for ohm in dict.fromkeys(ways))
        yield f"{claim.measured_ohm:.5g} Ω ± {claim.uncertainty_ohm:.3g} does not hold {shown} Ω"
    if claim.bound_ohm is not None and min(ways) > claim.bound_ohm * SLACK:
        yield f"below {claim.bound_ohm:.5g} Ω, and it is {min(ways):.5g} Ω"
    if claim.kind == "resistance" and oracle.net_of[a] == oracle.net_of[b]:
        limit = oracle.limit_ohm(a, b)
        physical = claim.limit_ohm if claim.physical_limit_ohm is None else claim.physical_limit_ohm
        if physical is not None and physical > limit * 1.001 + 1e-6:
            yield f"its limit is {physical:.5g} Ω, by the description {limit:.5g} Ω"
        if claim.decision == "pass" and claim.measured_ohm > limit * SLACK:
            yield f"it passes with {claim.measured_ohm:.5g} Ω above its limit of {limit:.5g} Ω"


def _joined(claim: ClaimEntry, ends: list[End], oracle: Oracle) -> Iterator[str]:
    if claim.threshold_ohm is None:
        return
    joined: nx.Graph[End] = nx.Graph()
    joined.add_nodes_from(ends)
    for i, a in enumerate(ends):
        for b in ends[:i]:
            same = oracle.now.piece_of[place(a)] == oracle.now.piece_of[place(b)]
            ways = () if same else (oracle.now.read([x], [y], 5.0, 0.0) for x, y in ((a, b), (b, a)))
            if same or min(ways) < claim.threshold_ohm:
                joined.add_edge(a, b)
    if ends and not nx.is_connected(joined):
        yield "they are not all joined"


def _apart(claim: ClaimEntry, ends: list[End], oracle: Oracle) -> Iterator[str]:
    """Nothing joins these cavities to others, but for those of nets that parts join them to."""
    if claim.threshold_ohm is None:
        return
    if claim.subject.startswith("across "):
        yield from _across(claim.threshold_ohm, ends, oracle)
        return
    if "as found" in claim.statement:
        yield from _as_found(claim.threshold_ohm, oracle)
        return
    chosen = ends or list(oracle.loom.cavities)
    done: set[tuple[int, int]] = set()
    # A statement with volts has asked for what conducts one way; a rule that names them excludes it.
    stated = re.search(r"(\d[\d.]*) V", claim.statement)
    excluded = stated is None and re.search(r"(\d[\d.]*) V", claim.rule) is not None
    volts = float(stated[1]) if stated else 5.0
    for a in chosen:
        island = oracle.now.island(place(a))
        group = oracle.group_of[oracle.net_of[a]]
        for b in oracle.now.ends_of[island]:
            key = (oracle.now.piece_of[place(a)], oracle.now.piece_of[place(b)])
            if oracle.group_of[oracle.net_of[b]] == group or key in done:
                continue
            done.add(key)
            ohm = oracle.now.ohm(a, b)
            if ohm < claim.threshold_ohm / SLACK:
                yield f"{a} to {b} is {ohm:.5g} Ω"
            elif math.isinf(ohm) and not excluded:
                ways = [oracle.now.read([x], [y], volts, 0.0) for x, y in ((a, b), (b, a))]
                if min(ways) < claim.threshold_ohm:
                    yield f"{a} to {b} conducts one way"


def _as_found(threshold_ohm: float, oracle: Oracle) -> Iterator[str]:
    """No path of less than this that a fault made, between conductors as they are, that no part couples.

    What a fault joins without ohms is one conductor as found, whatever was described.
    """
    piece_of = oracle.now.piece_of
    for fault in oracle.faults:
        if fault.kind not in ("leak", "part", "diode", "led"):
            continue
        a, b = (
            next(
                (end for end in oracle.loom.cavities if piece_of[place(end)] == piece_of.get(inside(at))),
                None,
            )
            for at in fault.ends
        )
        if a is None or b is None or piece_of[place(a)] == piece_of[place(b)]:
            continue
        if oracle.group_of[oracle.net_of[a]] == oracle.group_of[oracle.net_of[b]]:
            continue
        volts = oracle.make.test_v
        least = min(oracle.now.read([x], [y], volts, oracle.make.series_ohm) for x, y in ((a, b), (b, a)))
        if least < threshold_ohm / SLACK:
            yield f"{a} to {b}, found as conductors of their own, is {least:.5g} Ω"


def _across(threshold_ohm: float, ends: list[End], oracle: Oracle) -> Iterator[str]:
    """No path of less than this between two conductors that a part joins."""
    for a, b in itertools.combinations(ends, 2):
        if oracle.net_of[a] != oracle.net_of[b] and oracle.now.ohm(a, b) < threshold_ohm / SLACK:
            yield f"{a} to {b} is {oracle.now.ohm(a, b):.5g} Ω"


def uncovered(document: Document, oracle: Oracle) -> list[str]:
    """Return what a pass should say something of and does not."""
    known = set(oracle.loom.cavities)
    joined: nx.Graph[End] = nx.Graph()
    joined.add_nodes_from(oracle.loom.cavities)
    for claim in document.claims:
        if claim.kind in ("continuity", "resistance") and claim.decision != "fail":
            nx.add_path(joined, [end for end in claim.cavities if end in known])
    missing = [
        f"no claim joins {net[0]} to {end}"
        for net in oracle.nets
        for end in net[1:]
        if not set(net) <= oracle.unused_ends and not nx.has_path(joined, net[0], end)
    ]
    said = headline_of(document)
    claimed = {
        name
        for claim in document.claims
        if claim.kind == "component" and claim.decision == "pass"
        for name in claim.subject.replace(",", " ").split()
    }
    missing += [
        f"{part.name} is neither claimed nor named"
        for part, a, b in oracle.couplings
        if part.name not in claimed and not names(said, part.name) and not nx.has_path(joined, a, b)
    ]
    missing += [
        f"{part.name}, beside copper, is not named in the headline"
        for part in oracle.shunted
        if not names(document.grade_text, part.name)
    ]
    return missing


def hidden_faults(document: Document, oracle: Oracle) -> list[str]:
    """Return faults of parts, and wires that are open, that a pass does not name as not told."""
    said = headline_of(document)
    found = []
    for fault in oracle.faults:
        shunt = oracle.make.ohms is None and 0 < fault.ohm < 1.0
        if (
            fault.kind in PART_FAULTS
            and not shunt
            and not any(names(document.grade_text, name) for name in fault.parts)
        ):
            found.append(f"{fault.kind} {' '.join(fault.parts)} is not named in the headline")
        if fault.kind == "open":
            (wire,) = fault.wires
            unused = set(oracle.loom.wire_by_name[wire].ends) & oracle.unused_ends
            if not unused and not names(said, wire):
                found.append(f"open {wire} is not named")
    return found
