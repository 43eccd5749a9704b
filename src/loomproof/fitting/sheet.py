"""The fitting sheet: every end of the loom on exactly one list, with warnings on top.

A wired end that some needed circuit uses is connected; every other end that meets the car or a sensor is made
safe; the places of the loom's own fuses and relays are a list of their own. A plug whose own circuits are all
unused is unused as a whole, even where a shared feed or earth runs into it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from loomproof.electrics.loads import too_weak
from loomproof.fitting import checks, consistency, firstpower, fuse_coordination, usual, voltage_drop, words
from loomproof.fitting.feeds import feeds_of, perhaps_of
from loomproof.fitting.live_ends import Feed, Live, Tracer
from loomproof.fitting.needs import FittingPlan, plan_of
from loomproof.fitting.proof_status import standing_of
from loomproof.fitting.sharing import carried_by_wires
from loomproof.loom.choices import needs_of
from loomproof.loom.designations import DESIGNATIONS, is_earth
from loomproof.loom.model import End, Loom, Need
from loomproof.loom.text import first_of
from loomproof.results.document import Document
from loomproof.results.figures import value_of
from loomproof.results.fitting import Action, ConnectRow, Fault, Job, Level, SafeRow, Sheet, SheetEnd, Warn


def fitting_sheet(
    loom: Loom,
    answers: Mapping[str, str] | None = None,
    proof: Document | None = None,
    *,
    running_c: float | None = None,
    ampacity: fuse_coordination.Ampacity | None = None,
) -> Sheet:
    """Return the sheet of a loom under answers (defaults where one is not given).

    ``proof`` is the latest proof; without a passing one of this very description the sheet carries a banner
    and is not ready. ``running_c`` is the copper's temperature for voltage drops, °C (else the loom's own
    setting); raises `ValueError` outside -200 to 300 °C. ``ampacity`` is what continuous loads are held to.
    """
    needs = needs_of(loom, answers)
    tracer = Tracer(loom)
    feeds = feeds_of(loom, needs)
    surely = tracer.live(feeds)
    live = tracer.live((*feeds, *perhaps_of(loom, needs, surely)))
    plan = plan_of(loom, needs)
    standing = standing_of(loom, proof)
    connect = _connect(loom, plan, live)
    safe = tuple(_heed(_safe(loom, end, plan, live), standing.found) for end in plan.safe)
    places = tuple(_heed(_place(loom, end, plan, live), standing.found) for end in plan.places)
    warnings = [*_live_warnings((*safe, *places), live), *_unfused_feeds(feeds, connect, live)]
    warnings += consistency.warnings(loom, plan, needs, feeds, surely)
    if tracer.contacts_missing:
        names = ", ".join(tracer.contacts_missing)
        warnings.append(
            Warn(
                Level.WARNING,
                f"relay contacts of {names} were not traced: the description does not say which pins are "
                "coil and contact; ends behind them may be live although no row here says so",
                parts=tracer.contacts_missing,
            )
        )
    unknown = [wire.name for wire in loom.wires if wire.circuit not in loom.circuit_by_name]
    if unknown:
        count = "no wire has a" if len(unknown) == len(loom.wires) else f"{len(unknown)} of the wires have no"
        text = f"{count} circuit: what they carry is not known, so treat each of their ends as live"
        warnings.append(Warn(Level.WARNING, text, (), tuple(unknown)))
    unproved = [row.facts.end for row in connect if row.facts.end in standing.unproved]
    if unproved:
        names = ", ".join(map(str, unproved))
        text = f"not covered by the proof: {names}. Check each by hand before it is energised."
        warnings.append(Warn(Level.DANGER, text, tuple(unproved)))
    if not feeds:
        warnings.append(
            Warn(Level.WARNING, "no circuit is designated as a feed (30, 15, …): nothing could be traced")
        )
    for name, text in too_weak(loom, carried_by_wires(loom, needs)).items():
        said = f"wire {name} is too weak for its load as described: {text}. A proof can't mend that."
        warnings.append(Warn(Level.WARNING, said, (), (name,)))
    jobs = {row.facts.end: row.job for row in connect}
    told, questions = firstpower.purposes(loom, needs, engine=firstpower.has_engine(loom, plan, jobs))
    warnings += [*told, *firstpower.earths_joined(loom)]
    limits = [
        f"{row.facts.end} to the battery's negative post under {loom.settings.earth_drop_v:g} V"
        for row in connect
        if any(check.finds is Fault.BAD_EARTH for check in row.checks)
    ]
    fuses = fuse_coordination.fuse_rows(loom, needs, ampacity)
    warnings += fuse_coordination.fuse_warnings(fuses)
    warnings.sort(key=lambda warn: list(Level).index(warn.level))
    danger = any(warn.level is Level.DANGER for warn in warnings)
    given = dict(answers or {})
    hot_c = loom.settings.running_c if running_c is None else running_c
    dropped = voltage_drop.drops_of(loom, needs, standing, hot_c)
    return Sheet(
        loom=loom.name,
        serial=loom.serial,
        digest=loom.digest,
        answers=tuple(
            (choice.name, given.get(choice.name, choice.default) or "no answer") for choice in loom.choices
        ),
        banner=standing.banner,
        ready=standing.passed and not danger,
        proof=standing.text,
        connect=connect,
        safe=safe,
        places=places,
        warnings=tuple(warnings),
        drops=dropped,
        fuses=fuses,
        earths=voltage_drop.earths_of(loom, needs),
        left_out=voltage_drop.left_out(loom, needs, dropped),
        questions=(*questions, *usual.usual_questions(loom)),
        power_up=firstpower.power_up(loom, plan, feeds, surely, jobs, limits),
        experienced=words.EXPERIENCED,
        cautions=words.CAUTIONS,
        not_checked=words.NOT_CHECKED,
    )


def _facts(loom: Loom, end: End, live: Mapping[End, tuple[Live, ...]], needs: Mapping[str, Need]) -> SheetEnd:
    wires = loom.wires_at.get(end, ())
    wanted = [wire for wire in wires if needs.get(wire.circuit, Need.NEEDED) is Need.NEEDED]
    named = [wire.circuit for wire in (*wanted, *wires)]
    named += [part.circuit for part in loom.components if end in part.ends]
    circuit = loom.circuit_by_name.get(named[0]) if named else None
    designation = circuit.designation if circuit else ""
    sections = [wire.csa_mm2 for wire in wires if wire.csa_mm2 is not None]
    return SheetEnd(
        end=end,
        colour=" + ".join(dict.fromkeys(wire.colour for wire in wires if wire.colour)),
        csa_mm2=max(sections, default=None),
        circuit=circuit.name if circuit else "".join(named[:1]),
        purpose=circuit.purpose if circuit else "",
        designation=designation,
        meaning=DESIGNATIONS.get(designation, ""),
        fuse=circuit.fuse if circuit else "",
        load_a=circuit.load_a if circuit else None,
        live=tuple(way.text for way in live.get(end, ())),
    )


def _connect(loom: Loom, plan: FittingPlan, live: Mapping[End, tuple[Live, ...]]) -> tuple[ConnectRow, ...]:
    order = list(Job)
    rows = []

    def earth_a(end: End) -> float:
        return sum(voltage_drop.earth_current_a(loom, name, plan.needs) for name in _circuits_at(loom, end))

    for end in plan.connect:
        facts = _facts(loom, end, live, plan.needs)
        rows.append(
            ConnectRow(
                facts=facts,
                job=words.job_of(loom, end, facts, plan.computers),
                order=0,
                goes_to=words.goes_to(loom, end, facts),
                checks=checks.checks_of(loom, end, facts, plan.computers, bool(live.get(end)), earth_a(end)),
            )
        )
    rows.sort(key=lambda row: order.index(row.job))
    return tuple(replace(row, order=number) for number, row in enumerate(rows, 1))


def _circuits_at(loom: Loom, end: End) -> list[str]:
    return list(dict.fromkeys(wire.circuit for wire in loom.wires_at.get(end, ())))


def _safe(loom: Loom, end: End, plan: FittingPlan, live: Mapping[End, tuple[Live, ...]]) -> SafeRow:
    facts = _facts(loom, end, live, plan.needs)
    wires = loom.wires_at.get(end, ())
    optional = end in plan.optional
    ways = live.get(end, ())
    splices = [other.connector for wire in wires for other in wire.ends if not other.cavity]
    if ways:
        fuses = {fuse for way in ways for fuse in way.fuses}
        cut = f" It may be shortened at splice {splices[0]}." if splices else ""
        if all(way.fuses for way in ways) and fuses <= plan.spare_fuses:
            return SafeRow(
                facts,
                Action.REMOVE_FUSE,
                f"live while {' and '.join(sorted(fuses))} is in; nothing needed is behind it",
                optional,
            )
        # One cavity of a plug that goes on anyway cannot be capped.
        action = Action.TAKE_OUT if wires and end.connector in plan.plugged else Action.CAP
        return SafeRow(facts, action, f"{_said(ways[:1])}.{cut}", optional)
    if not wires and not _touched(loom, end):
        noted = loom.facts_by_end.get(end)
        if noted is not None and noted.note and not noted.spare:
            return SafeRow(facts, Action.LEAVE, f"no wire is described; {noted.note}", optional)
        return SafeRow(facts, Action.LEAVE, "no wire; keep its seal or blanking plug in", optional)
    if splices:
        return SafeRow(facts, Action.SHORTEN, f"no feed reaches it; splice {', '.join(splices)}", optional)
    if end.connector in plan.plugged:
        return SafeRow(facts, Action.LEAVE, "no feed reaches it and its plug goes on anyway", optional)
    far = [other for wire in wires for other in wire.ends if other != end]
    if far and is_earth(facts.designation):
        return SafeRow(facts, Action.CAP, "it is earthed: a feed that touches it is a short", optional)
    driven = [str(other) for other in far if other.connector in plan.plugged]
    if driven:
        return SafeRow(
            facts, Action.CAP, f"no feed reaches it, but what is plugged in at {driven[0]} may", optional
        )
    return SafeRow(facts, Action.LEAVE, "no feed reaches it and nothing is plugged in behind it", optional)


def _heed(row: SafeRow, found: Mapping[End, str]) -> SafeRow:
    """Return the row as what the proof found at its cavity makes it: never left alone over a finding."""
    told = found.get(row.facts.end)
    if told is None or row.action is not Action.LEAVE:
        return row
    return replace(row, action=Action.CAP, why=f"the proof found here: {told.rstrip('.')}; treat it as live")


def _touched(loom: Loom, end: End) -> bool:
    return any(end in part.ends for part in loom.components)


def _place(loom: Loom, end: End, plan: FittingPlan, live: Mapping[End, tuple[Live, ...]]) -> SafeRow:
    facts = _facts(loom, end, live, plan.needs)
    parts = [part for part in loom.components if end in part.ends]
    held = [part for part in parts if part.form.seated or part.pullable]
    names = ", ".join(
        " ".join(filter(None, (part.kind, part.name, value_of(part)))) for part in held or parts
    )
    if not held:
        if loom.wires_at.get(end):
            built_in = f"; {names} stays in" if parts else ""
            why = f"a wire ends here, and no part of the description sits here{built_in}"
            return SafeRow(facts, Action.CAP, why)
        return SafeRow(facts, Action.LEAVE, "an empty place")
    if all(part.name in plan.spare_parts for part in held):
        return SafeRow(facts, Action.LEAVE_OUT, f"{names}: nothing that this conversion needs")
    return SafeRow(facts, Action.FIT, names)


def _said(ways: Sequence[Live]) -> str:
    """Say how an end can be live; what nobody can rule out stands behind what is known, or alone."""
    texts = list(dict.fromkeys(way.text for way in sorted(ways, key=lambda way: bool(way.feed.why))))
    said = "; ".join(texts)
    return said if all(way.feed.why for way in ways) else f"can be live: {said}"


def _live_warnings(rows: Iterable[SafeRow], live: Mapping[End, tuple[Live, ...]]) -> Iterable[Warn]:
    """Yield one warning for each unused end that can be live; a permanent feed without a fuse is a danger."""
    for row in rows:
        if row.action is Action.FIT:
            continue
        ways = live.get(row.facts.end, ())
        if not ways:
            continue
        bare = [way for way in ways if way.feed.when == "permanent" and not way.fused]
        what = f"{row.facts.end}{f' ({row.facts.colour})' if row.facts.colour else ''}"
        state = "is optional, not yet decided, and" if row.optional else "is unused and"
        do = f"{'connect it, or ' if row.optional else ''}{row.action.value}"
        if bare:
            yield Warn(
                Level.DANGER,
                f"{what} {state} fed permanently without a fuse: {bare[0].text}. Do not connect the "
                "battery before it is insulated and the feed has a fuse for its wire.",
                (row.facts.end,),
            )
        else:
            yield Warn(
                Level.WARNING,
                f"{what} {state} {_said(ways)}. {do[0].upper()}{do[1:]}.",
                (row.facts.end,),
            )


def _unfused_feeds(
    feeds: Iterable[Feed], connect: Iterable[ConnectRow], live: Mapping[End, tuple[Live, ...]]
) -> Iterable[Warn]:
    """Yield a danger for each permanent or ignition feed that enters without a fuse and reaches ends so.

    What the car switches, or a starter's control, is a warning: its fuse may stand in the car's own papers.
    """
    rows = list(connect)
    for feed in feeds:
        if feed.fuse:
            continue
        bare = [
            row.facts.end
            for row in rows
            if any(way.feed == feed and not way.fused for way in live.get(row.facts.end, ()))
        ]
        if bare:
            grave = feed.when in ("permanent", "ignition")
            yield Warn(
                Level.DANGER if grave else Level.WARNING,
                f"the {feed.when} feed {feed.circuit} has no fuse that the description names; without one "
                f"reach {first_of(bare, 8)}. Fit a fuse sized for the wire where it leaves its supply.",
                tuple(bare),
            )
