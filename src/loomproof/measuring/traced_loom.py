"""A traced loom as a description: what was found, and what only a person can know left as questions."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from loomproof.bench.seam import Capabilities
from loomproof.electrics.expectation import expect
from loomproof.loom.model import (
    CavityFacts,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Hazard,
    Loom,
    Settings,
    Wire,
)
from loomproof.loom.nameless import KIND_AND_ROWS, is_nameless
from loomproof.measuring.trace import Traced
from loomproof.planning.meter import Meter
from loomproof.planning.plan import Plan, plan_proof

LENGTHS_M = (2.0, 3.0, 5.0, 8.0, 12.0, 20.0, 30.0, 45.0, 60.0)
"""Lengths tried for wires of unknown length, shortest first, until every reading is within its limit."""

NOTHING_FOUND = "nothing found on it: spare, cut wire, or a pulled part?"

DIODE_V = 0.7
"""What a silicon diode drops at milliamperes, at most; under it none may show. Common practice."""

TOLERANCES_PCT = (5.0, 10.0, 20.0, 50.0)


def loom_of(
    traced: Traced,
    name: str,
    order: Mapping[End, int],
    *,
    hazards: Mapping[str, Hazard] | None = None,
    settings: Settings | None = None,
    tolerance_pct: float = TOLERANCES_PCT[0],
) -> Loom:
    """Return what was found as a description; ``order`` gives the cavities, in the order of their points."""
    names: dict[str, list[str]] = {}
    for end in order:
        names.setdefault(end.connector, []).append(end.cavity)
    connectors = [
        Connector(
            connector,
            ConnectorKind.PLUG,
            (tuple(cavities),),
            description=KIND_AND_ROWS,
            hazard=(hazards or {}).get(connector, Hazard.UNKNOWN),
        )
        for connector, cavities in names.items()
    ]
    wires: list[Wire] = []
    facts: list[CavityFacts] = []
    taken = set(names)
    joined = {end for part in traced.parts for end in (part.a, part.b)}
    for net in traced.nets:
        if len(net) == 1:
            if net[0] not in joined:
                facts.append(CavityFacts(net[0], note=NOTHING_FOUND))
        elif len(net) == 2:
            wires.append(Wire(f"W{len(wires) + 1}", *net, note=_read(traced, *net)))
        else:
            splice = next(s for k in range(1, 10_000) if (s := f"S{k}") not in taken)
            taken.add(splice)
            connectors.append(Connector(splice, ConnectorKind.SPLICE, description="found by tracing: where?"))
            for end in net:
                note = "" if end == net[0] else _read(traced, net[0], end)
                wires.append(Wire(f"W{len(wires) + 1}", end, End(splice), note=note))
    return Loom(
        name,
        description="Traced on a bench. Colours, lengths and sections are not known, "
        "and the length taken for all is chosen so that what was found passes.",
        connectors=tuple(connectors),
        wires=tuple(wires),
        components=tuple(_components(traced, tolerance_pct)),
        cavity_facts=tuple(facts),
        settings=settings or Settings(),
    )


def fitted_loom(
    traced: Traced,
    name: str,
    order: Mapping[End, int],
    able: Capabilities,
    meter: Meter | None,
    read: Callable[[End, End], tuple[float, float]] | None,
    *,
    hazards: Mapping[str, Hazard] | None = None,
    temperature_c: float = 20.0,
) -> tuple[Loom, tuple[str, ...]]:
    """Return the description with defaults under which what was found passes, and what still does not.

    ``read`` reads one pair, Ω and its uncertainty. What still fails is named as a question, never hidden.
    """
    failing: tuple[str, ...] = ()
    loom = loom_of(traced, name, order, hazards=hazards)
    if meter is None or read is None:
        return loom, failing
    answers: dict[tuple[End, End], tuple[float, float]] = {}

    def reading(a: End, b: End) -> tuple[float, float]:
        if (a, b) not in answers:
            answers[a, b] = read(a, b)
        return answers[a, b]

    for length_m, tolerance_pct in _defaults():
        settings = replace(Settings(), wire_length_m=length_m)
        loom = loom_of(traced, name, order, hazards=hazards, settings=settings, tolerance_pct=tolerance_pct)
        plan = plan_proof(expect(loom, temperature_c), order, able, meter)
        failing = tuple(_not_passing(plan, reading))
        if not failing:
            break
    return loom, failing


def _defaults() -> Iterator[tuple[float, float]]:
    for tolerance_pct in TOLERANCES_PCT:
        for length_m in LENGTHS_M:
            yield length_m, tolerance_pct


def _not_passing(plan: Plan, reading: Callable[[End, End], tuple[float, float]]) -> Iterator[str]:
    """Yield what reads outside its limits, and so would stand in no pass."""
    for conductor in plan.conductors:
        ohm, _ = reading(conductor.a, conductor.b)
        if ohm > conductor.limit_ohm:
            yield f"{conductor.a} to {conductor.b} reads {ohm:.3f} ohm: a bad joint?"
    for part in plan.parts:
        if part.part.forward_v is None:
            ohm, _ = reading(part.part.a, part.part.b)
            if not part.lower_ohm <= ohm <= part.upper_ohm:
                yield f"{part.part.a} to {part.part.b} reads {ohm:.4g} ohm, not as one part: what is there?"


def questions_of(traced: Traced, loom: Loom, known: Loom | None = None) -> Iterator[str]:
    """Yield what only a person can know, of ``loom`` as it was traced; ``known`` was described before."""
    yield from traced.questions
    for part in loom.components:
        if known is not None and part.name in known.component_by_name:
            continue
        a, b = part.ends
        if part.kind is ComponentKind.DIODE:
            yield f"{part.name} conducts from {a} to {b} only: is it a diode, and which?"
        elif part.kind is ComponentKind.CAPACITOR:
            yield f"{part.name}, {part.capacitance_f:.4g} F from {a} to {b}: which capacitor is it?"
        else:
            ohm = f"{part.resistance_ohm:.4g} ohm"
            across = [each.name for each in loom.components if each.kind is ComponentKind.DIODE]
            across = [name for name in across if {*loom.component_by_name[name].ends} == {a, b}]
            beside = f", with {across[0]} across it as across a coil" if across else ""
            yield (
                f"{part.name}, {ohm} from {a} to {b}{beside}: a part, a leak, or a bad joint? "
                "A coil reads as a resistor does, so which of them a part is nothing here tells."
                + ("" if across else _hidden_diode(traced, part.resistance_ohm or 0.0))
            )
    bare = ", ".join(str(facts.end) for facts in loom.cavity_facts if facts.note == NOTHING_FOUND)
    if bare:
        yield f"{bare}: {NOTHING_FOUND}"
    open_hazards = [c.name for c in loom.connectors if c.cavities and c.hazard is Hazard.UNKNOWN]
    if open_hazards:
        yield f"What was at {', '.join(open_hazards)}? Fill in the column hazard."
    new = [c.name for c in loom.connectors if c.cavities and is_nameless(c)]
    if new:
        which = f" ({', '.join(new)})" if known is not None else ""
        yield (
            f"Which connector is which{which}: kinds, housings, rows as seen from the mating face, what each "
            "goes to?"
        )
    if loom.wires and known is None:
        yield (
            "Which ends does a fuse or a link lie between, and of how many amperes? Both read as wire, so "
            "that nothing here tells them from one."
        )
    if any(not wire.colour or wire.length_m is None or wire.csa_mm2 is None for wire in loom.wires):
        yield "Colours, lengths and sections of the wires, and where splices lie?"
    if not traced.confirmed:
        yield _one_way_note(loom)


def _one_way_note(loom: Loom) -> str:
    diodes = [each.name for each in loom.components if each.kind is ComponentKind.DIODE]
    return "Note, nothing to answer: sense was not the same both ways, so every point was asked alone; " + (
        f"{', '.join(diodes)} may be why." if diodes else "no diode was found that would explain it."
    )


def _hidden_diode(traced: Traced, ohm: float) -> str:
    volts = traced.test_current_a * ohm
    if not 0.0 < volts < DIODE_V:
        return ""
    return f" Nor does a diode across it show: the meter puts no more than {volts:.2g} V on it."


def _read(traced: Traced, a: End, b: End) -> str:
    """Return what was read from a to b, else to b from another cavity: not all met in one hook-up."""
    found, of = traced.ohms.get((a, b)), a
    if found is None:
        of, found = next(((one, ohm) for (one, other), ohm in traced.ohms.items() if other == b), (a, None))
    return f"{found[0]:.3f} ± {found[1]:.3f} ohm measured from {of}" if found else ""


def _components(traced: Traced, tolerance_pct: float) -> Iterator[Component]:
    diodes = resistors = capacitors = 0
    for part in traced.parts:
        if part.one_way:
            diodes += 1
            yield Component(
                f"D{diodes}",
                ComponentKind.DIODE,
                (("A", part.a), ("K", part.b)),
                forward_v=None if part.forward_v is None else round(part.forward_v, 3),
                note="found by tracing",
            )
        elif part.farad is not None:
            capacitors += 1
            yield Component(
                f"C{capacitors}",
                ComponentKind.CAPACITOR,
                (("1", part.a), ("2", part.b)),
                capacitance_f=float(f"{part.farad:.4g}"),
                note=f"found by tracing{_give_or_take(part.farad, part.u, 'F')}",
            )
        elif part.ohm is not None:
            resistors += 1
            yield Component(
                f"R{resistors}",
                ComponentKind.RESISTOR,
                (("1", part.a), ("2", part.b)),
                resistance_ohm=float(f"{part.ohm:.4g}"),
                tolerance_pct=tolerance_pct,
                note=f"found by tracing{_give_or_take(part.ohm, part.u, 'ohm')}",
            )


def _give_or_take(value: float, u: float | None, unit: str) -> str:
    """Return a value with its uncertainty, for a note; "" where the uncertainty is not known."""
    return f": {value:.4g} ± {u:.2g} {unit}" if u else ""
