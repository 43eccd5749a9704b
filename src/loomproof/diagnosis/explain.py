"""The one question of this room: what is wrong, where, and what to do about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from loomproof.diagnosis.beside import told_beside
from loomproof.diagnosis.blame import of_missing, with_parts
from loomproof.diagnosis.boards import board_slips
from loomproof.diagnosis.causes import CAUSES, Cause
from loomproof.diagnosis.cuts import FREE
from loomproof.diagnosis.desk import PROVE_AGAIN
from loomproof.diagnosis.entangled import parts_join, senses_alone, ways_apart
from loomproof.diagnosis.faults import Choice, Righted, diagnose
from loomproof.diagnosis.found import found_wiring
from loomproof.diagnosis.hanging import hung_together
from loomproof.diagnosis.joints import joint_findings
from loomproof.diagnosis.loose import loose_findings
from loomproof.diagnosis.parts import part_findings
from loomproof.diagnosis.paths import path_findings
from loomproof.diagnosis.search import Explainer
from loomproof.diagnosis.shared_contact import at_one_contact
from loomproof.diagnosis.shorter import shorter_findings
from loomproof.diagnosis.strain import PartStrain
from loomproof.diagnosis.structure import Arrangement, arrangements, hypotheses
from loomproof.diagnosis.weights import Weights, weights
from loomproof.diagnosis.wet import gathered
from loomproof.diagnosis.wiring import Wiring, wiring_of
from loomproof.diagnosis.words import listed, of_reading
from loomproof.diagnosis.writing import Writer
from loomproof.loom.model import End, Loom
from loomproof.results.findings import Evidence, Finding, Severity
from loomproof.results.measured import Decision, Measured


def explain(loom: Loom, measured: Measured, answers: Mapping[str, str] | None = None) -> tuple[Finding, ...]:
    """Return what explains all of a measured loom at the smallest cost, what must be mended first in front.

    ``answers`` to the description's choices decide which circuits are unused; opens in those are notes.
    A sound loom gives an empty tuple.
    """
    table = weights()
    wiring = wiring_of(loom, measured.expected, table)
    writer = Writer(loom, wiring, measured, answers, table)
    explainer = Explainer(wiring, table)
    case = _diagnosed(writer, explainer, measured)
    if isinstance(case, Finding):
        return (case,)
    apart = [
        _diagnosed(writer, explainer, replace(measured, groups=g)) for g in ways_apart(loom, wiring, measured)
    ]
    case = _cheapest(case, [each for each in apart if isinstance(each, _Case)])
    findings = [writer.finding(choice) for choice in _to_tell(writer, measured, case.choices)]
    found = found_wiring(loom, wiring, case.measured, case.labels, case.righted)
    groups = hung_together(found, table.bound_leak_ohm) if case.choices else None
    if groups is not None:
        return explain(loom, replace(measured, groups=groups), answers)
    findings += told_beside(found, writer, part_findings(found, writer))
    findings = gathered(writer, [*findings, *path_findings(found, writer)])
    findings += joint_findings(found, writer)
    findings += shorter_findings(found, writer)
    findings = at_one_contact(found, writer, findings)
    findings = with_parts(found, writer, loose_findings(found, writer, of_missing(findings)))
    findings = findings or _unexplained(measured, writer)
    return tuple(sorted(findings, key=_queue))


def _to_tell(writer: Writer, measured: Measured, choices: Sequence[Choice]) -> Sequence[Choice]:
    """Return the faults without shorts that built-in parts make for a bench that only senses."""
    if not senses_alone(measured):
        return choices
    told = [
        choice
        for choice in choices
        if choice.fault.cause is not Cause.TOUCHING
        or not parts_join(writer.loom, [writer.conductor(piece).ends for piece in choice.fault.pieces])
    ]
    return told or choices


@dataclass(frozen=True, slots=True)
class _Case:
    """One way to see what was found, with the faults of the wiring that explain it."""

    measured: Measured
    labels: Sequence[int]
    righted: Righted
    strain: int
    choices: tuple[Choice, ...] = ()
    cost: int = 0


def _diagnosed(writer: Writer, explainer: Explainer, measured: Measured) -> _Case | Finding:
    """Return the faults of the wiring; where this is not the loom described, the one finding that says so."""
    loom, wiring, table = writer.loom, writer.wiring, writer.weights
    labels = labels_of(wiring, measured)
    strain = PartStrain(writer, measured, labels)
    pieces = explainer.split(labels)
    if not pieces:
        righted = Righted(tuple(labels))
        return _Case(measured, labels, righted, strain.senses(righted))
    amiss = explainer.leaves_of(pieces)
    slips = hypotheses(loom, wiring, table, amiss)
    points = {wiring.leaf_of[end]: point for end, point in measured.points if end in wiring.leaf_of}
    slips += board_slips(points, amiss, table)
    arranged = arrangements(slips, explainer, labels)
    strange = _wrong_loom(arranged[0], explainer, measured, table)
    if strange is not None:
        return strange
    diagnosis = diagnose(arranged, explainer, strain)
    righted = diagnosis.righted
    return _Case(measured, labels, righted, strain.senses(righted), diagnosis.choices, diagnosis.cost)


def _cheapest(plain: _Case, apart: Sequence[_Case]) -> _Case:
    """Return the one way to part conductors that is cheaper than any other and fits, else what was found."""
    ranked = sorted([plain, *apart], key=lambda case: (case.cost, case.strain))
    first = ranked[0]
    alone = len(ranked) == 1 or (first.cost, first.strain) < (ranked[1].cost, ranked[1].strain)
    return first if alone else plain


def _unexplained(measured: Measured, writer: Writer) -> list[Finding]:
    """Return what failed and nothing above explains, so that no mismatch is ever silent."""
    bad = [judged for judged in measured.judged if judged.decision is Decision.FAIL]
    ways = [(way.source, way.sink) for way in measured.one_way if way.stray]
    ways += [(path.a, path.b) for path in measured.leaks if path.stray]
    ways = [
        (a, b)
        for a, b in ways
        if writer.group_of.get(a) != writer.group_of.get(b) and not _one_net(writer, a, b)
    ]
    if not bad and ways:
        return [
            writer.make(
                Cause.UNEXPLAINED,
                (a, b),
                f"Current flows from {a} to {b}, and nothing known explains it",
                [writer.names.place(a), writer.names.place(b)],
                ["Read it again by hand; check the hook-up and the description."],
                evidence=[Evidence(f"{a} to {b}")],
                cost=2 * writer.weights.open_wire,
            )
            for a, b in ways[:1]
        ]
    return [
        writer.make(
            Cause.UNEXPLAINED,
            (judged.a, judged.b),
            f"Reading from {judged.a} to {judged.b} fails, and nothing known explains it",
            [writer.names.place(judged.a), writer.names.place(judged.b)],
            ["Read it again by hand; check the hook-up and the description."],
            wires=judged.wires,
            components=(judged.component,) if judged.component else (),
            evidence=[of_reading(judged)],
            cost=2 * writer.weights.open_wire,
        )
        for judged in bad
    ]


def _one_net(writer: Writer, a: End, b: End) -> bool:
    return b in writer.net_of.get(a, frozenset())


def _queue(finding: Finding) -> tuple[bool, int, str]:
    return finding.severity is Severity.NOTE, CAUSES[finding.cause].rank, finding.title


def labels_of(wiring: Wiring, measured: Measured) -> list[int]:
    """Return the group that each leaf was found in, numbered; a leaf in no group counts as alone."""
    group_of = {end: number for number, group in enumerate(measured.groups) for end in group}
    alone = len(measured.groups)
    labels = []
    for end in wiring.leaf_ends:
        number = group_of.get(end)
        if number is None:
            number, alone = alone, alone + 1
        labels.append(number)
    return labels


def _wrong_loom(
    best: Arrangement, explainer: Explainer, measured: Measured, table: Weights
) -> Finding | None:
    """Return the one finding that says that this is not the loom described, where it is not."""
    wiring = explainer.wiring
    joined = [net for net in wiring.nets if len(net.leaves) > 1]
    members: dict[int, int] = {}
    for label in best.labels:
        members[label] = members.get(label, 0) + 1
    whole = sum(
        1
        for net in joined
        if len({best.labels[leaf] for leaf in net.leaves} - {FREE}) == 1
        and members[best.labels[net.leaves[0]]] == len(net.leaves)
    )
    if not joined or 100 * whole >= table.bound_wrong_loom_percent * len(joined):
        return None
    if all(len(group) == 1 for group in measured.groups) and len(joined) > 1:
        return Finding(
            kind=Cause.NOTHING_PLUGGED.kind,
            severity=Severity.FAULT,
            title="Nothing is joined to anything: the loom is not plugged to the bench",
            cavities=wiring.leaf_ends,
            cause=Cause.NOTHING_PLUGGED.value,
            evidence=(Evidence(f"{len(joined)} nets should join cavities; every cavity was found alone"),),
            repair=("Plug the loom's connectors into the adapter until they latch.", PROVE_AGAIN),
            cost=table.whole_connector / 1000,
        )
    if explainer.bound(best.rest) < table.bound_wrong_loom_faults:
        return None
    amiss = [net for net in joined if len({best.labels[leaf] for leaf in net.leaves}) > 1]
    return Finding(
        kind=Cause.WRONG_LOOM.kind,
        severity=Severity.FAULT,
        title=f"This is not the loom described: {whole} of its {len(joined)} joined nets were found",
        cavities=wiring.leaf_ends,
        cause=Cause.WRONG_LOOM.value,
        evidence=(
            Evidence(f"{whole} of {len(joined)} nets were found as described"),
            *(
                Evidence(
                    f"{listed(wiring.leaf_ends[leaf] for leaf in net.leaves)} should be one net, and is not"
                )
                for net in amiss[:5]
            ),
        ),
        repair=(
            "Compare the loom's part number with the description's, and each plug with the adapter.",
            "For a loom without a description, trace it first.",
            PROVE_AGAIN,
        ),
        cost=explainer.bound(best.rest) / 1000,
    )
