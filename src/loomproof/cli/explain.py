"""``explain``: what two cavities should read, its limit, and how both come about."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, assert_never

import click

from loomproof.errors import UsageError
from loomproof.results.figures import ohms, value_of

if TYPE_CHECKING:
    from rich.console import Console

    from loomproof.electrics.couplings import Coupling
    from loomproof.electrics.uncertainty import Budget
    from loomproof.loom.model import End
    from loomproof.planning.explain_pair import Explanation, Step
    from loomproof.reports.listing import Listing


HOW_NAMED = (
    "Write CONNECTOR:CAVITY, such as ECU:12; a name with a space or colon in double quotes, "
    """and all of it in single ones for the shell: '"FUSE BOX":12'."""
)
"""How a person names a cavity at a shell."""


@click.command()
@click.argument("loom", type=click.Path(path_type=Path))
@click.argument("a", metavar="CAVITY")
@click.argument("b", metavar="CAVITY")
@click.option("--temperature", "temperature_c", default=20.0, show_default=True, help="Of the loom, °C.")
@click.option(
    "--accuracy",
    default="0.1:0.01",
    show_default=True,
    metavar="OHM:RATIO",
    help="Limits of error of the bench: ±(ohm + ratio × reading).",
)
@click.option("--lead", "lead_ohm", default=0.0, help="Standard uncertainty of the lead correction, Ω.")
@click.option("--repeatability", "spread_ohm", default=0.0, help="Standard deviation of one reading, Ω.")
@click.option("--repeats", type=click.IntRange(1), default=1, show_default=True, help="Readings averaged.")
@click.option("--temperature-uncertainty", "kelvin", default=0.0, help="Standard uncertainty, K.")
def explain(
    loom: Path,
    a: str,
    b: str,
    temperature_c: float,
    accuracy: str,
    lead_ohm: float,
    spread_ohm: float,
    repeats: int,
    kelvin: float,
) -> None:
    """Show what two cavities of LOOM should read, and how the limit comes about.

    For example: loomproof explain mine ECU:12 INJ1:1
    """
    from rich.console import Console

    from loomproof.electrics.expectation import expect
    from loomproof.electrics.uncertainty import reading_budget
    from loomproof.loom.reading import load
    from loomproof.planning.explain_pair import explain_by_accuracy as explained

    ohm, ratio = _accuracy(accuracy)
    _check(temperature_c, lead_ohm, spread_ohm, kelvin)
    ends = _end(a), _end(b)
    if ends[0] == ends[1]:
        raise UsageError(f"{a} is named twice", cure="Name two different cavities: a reading is between two.")
    expectation = expect(load(loom).loom, temperature_c)
    found = explained(
        expectation,
        *ends,
        (ohm, ratio),
        lead_ohm=lead_ohm,
        repeatability_ohm=spread_ohm,
        repeats=repeats,
        temperature_u_k=kelvin,
    )
    console = Console(highlight=False)
    _show_value(console, found)
    if not found.joined:
        return
    _show_steps(console, found)
    budget = reading_budget(
        ohm,
        ratio,
        found.between.sound_ohm,
        lead_uncertainty_ohm=lead_ohm,
        repeatability_ohm=spread_ohm,
        repeats=repeats,
        temperature_uncertainty_k=kelvin,
    )
    if found.same_net:
        _show_decision(console, found, budget)


def _accuracy(text: str) -> tuple[float, float]:
    parts = text.split(":")
    try:
        ohm, ratio = (float(part) for part in parts)
    except ValueError:
        ohm, ratio = math.nan, math.nan
    if not (0.0 <= ohm < math.inf and 0.0 <= ratio < 1.0):
        raise UsageError(f"--accuracy {text}: no limits of error", cure="Write OHM:RATIO, such as 0.1:0.01.")
    return ohm, ratio


def _check(temperature_c: float, *figures: float) -> None:
    if not -50.0 <= temperature_c <= 150.0:
        raise UsageError(f"--temperature {temperature_c:g}: -50 to 150 °C is expected")
    if any(not 0.0 <= figure < math.inf for figure in figures):
        raise UsageError("an uncertainty must be 0 or more")


def _end(text: str) -> End:
    from loomproof.loom.model import end_of

    try:
        return end_of(text)
    except ValueError as error:
        raise UsageError(str(error), cure=HOW_NAMED) from None


def _show_value(console: Console, found: Explanation) -> None:
    between = found.between
    _say(console, f"{between.a} to {between.b}", indent=0, style="bold")
    if not found.joined:
        _say(console, "nothing of known resistance joins these two: a sound loom reads open")
    else:
        what = "one net" if found.same_net else "two nets, joined by components"
        _say(console, f"{what}; a sound loom reads {ohms(between.expected_ohm)}")
    sense = f"a digital sense: {between.b} reads {found.reads} while {between.a} is driven"
    if found.sense_ohm is not None:
        proves = "low proves a path under" if found.same_net else "read both ways, high proves none under"
        sense += f"; {proves} {ohms(found.sense_ohm)}"
    _say(console, sense)
    if found.isolation_ohm is not None and not found.same_net:
        _say(console, f"isolation, where it is measured: at least {ohms(found.isolation_ohm)}")
    if found.coupled:
        _say(console, "parts lead from one to the other: neither sense nor isolation is asked of these two")
    for part, coupling in found.across:
        _say(console, f"{part.kind} {part.name} {value_of(part)}".rstrip() + f": {_passes(coupling)}")
    _say(console, "a bench without ohms can be asked the sense only, one without sense the ohms only")


def _passes(part: Coupling) -> str:
    """Say what current a part lets through between two nets, and so what a reading of it is."""
    from loomproof.electrics.component_kinds import Path as PartPath

    match part.path:
        case PartPath.RESISTIVE:
            unknown = "" if part.linear else f", of unknown resistance, {ohms(part.lo_ohm)} or more"
            return f"current flows both ways{unknown}"
        case PartPath.DIODE:
            return f"current flows from {part.a} to {part.b} only"
        case PartPath.CAPACITOR:
            reads = f"a sound one then reads {ohms(part.lo_ohm)} or more, and so does a missing one"
            return f"no direct current flows once it is charged: {reads}"
        case PartPath.CONTACT:
            return "current flows both ways while it is closed"
        case _:
            assert_never(part.path)


def _say(console: Console, text: str, *, indent: int = 2, style: str = "") -> None:
    """Print a sentence; its later lines are set in a little more, so that sentences are told apart."""
    from loomproof.reports.listing import Paragraph

    console.print(Paragraph(text, " " * indent, " " * (indent + 2), style))


def _say_of(console: Console, name: str, text: str) -> None:
    """Print a name and what is said of it, in two columns."""
    from loomproof.reports.listing import Paragraph

    console.print(Paragraph(text, f"  {name:<12}", " " * 14))


def _show_steps(console: Console, found: Explanation) -> None:
    console.print()
    console.print(_steps_view(found.steps))
    console.print()
    if any(step.defaulted for step in found.steps):
        _say(console, "* not in the description: the loom's default, or typical for the part")
    if any(not step.shows for step in found.steps):
        _say(console, "† hidden: other conductors lie in parallel, so an open here would not show")
    sizes: dict[str, list[str]] = {}
    for step in found.steps:
        if step.section:
            sizes.setdefault(f"{step.source} ({step.status})", []).append(step.section.split(" (")[0])
    for source, named in sizes.items():
        _say(console, f"{', '.join(dict.fromkeys(named))}: {source}")
    between = found.between
    lines = [
        ("copper", f"at {found.temperature_c:g} °C, {found.copper_factor:.4f} of its resistance at 20 °C"),
        ("contacts", f"{ohms(found.contacts_ohm)} for the contacts at both ends"),
        ("sound", f"at most {ohms(between.sound_ohm)}, all wires and joints at their greatest"),
    ]
    if found.same_net:
        usual_ohm = found.margin_ratio * between.sound_ohm + found.margin_ohm
        limit = (
            f"{ohms(usual_ohm)} = {found.margin_ratio:g} × {ohms(between.sound_ohm)} "
            f"+ {ohms(found.margin_ohm)}"
        )
        if between.limit_ohm < usual_ohm:
            lines.append(("load", f"{ohms(between.load_ohm)} is its share of the drop at the stated load"))
            limit = (
                f"{ohms(between.limit_ohm)}, by the load: its share, or {found.margin_ratio:g} × sound "
                "+ 0.010 Ω where that is more"
            )
        lines.append(("limit", f"{limit}, the physical limit"))
    for name, text in lines:
        _say_of(console, name, text)


def _steps_view(steps: Sequence[Step]) -> Listing:
    from loomproof.reports.listing import Column, Listing

    rows = []
    for step in steps:
        section = step.section.split(" (")[0] + (" *" if "csa_mm2" in step.defaulted else "")
        length = f"{step.length_m:g} m" if step.length_m else ""
        rows.append(
            (
                step.name + ("" if step.shows else " †"),
                f"{step.start} – {step.stop}",
                section or step.kind.replace("component", "fuse or link"),
                length + (" *" if "length_m" in step.defaulted else ""),
                ohms(step.joints_ohm) if step.joints_ohm else "",
                ohms(step.nominal_ohm) + (" *" if "resistance_ohm" in step.defaulted else ""),
                ohms(step.greatest_ohm),
                f"{step.share:.0%}",
            )
        )
    figures = (Column(head, figure=True) for head in ("length", "joints", "expected", "at most", "current"))
    return Listing((Column("part"), Column("way"), Column("section", whole=True), *figures), tuple(rows))


def _show_decision(console: Console, found: Explanation, budget: Budget) -> None:
    from loomproof.electrics.decision import zones

    assert found.reading is not None
    _say(console, "a bench that measures ohms, with the accuracy given:")
    _say_of(console, "uncertainty", f"{ohms(budget.expanded_ohm)} (k = 2) at a sound reading, of which")
    for part in budget.parts:
        if part.standard_ohm:
            _say_of(console, "", f"{part.name} {ohms(part.standard_ohm)} (standard)")
    tells = "which decides its limit" if found.reading.decided else "which does not decide its limit"
    _say_of(console, "shown", f"of every sound one: under {ohms(found.reading.shown_ohm)}, {tells}")
    zone = zones(budget.expanded_ohm, found.reading.limit_ohm)
    reach = (
        f"up to {ohms(zone.pass_to_ohm)}" if zone.pass_to_ohm > 0 else "never: the uncertainty is too large"
    )
    _say_of(console, "pass", reach)
    _say_of(console, "undecided", f"from there to {ohms(zone.fail_from_ohm)}")
    _say_of(console, "fail", f"above {ohms(zone.fail_from_ohm)}, and open")
    hidden = [step.name for step in found.steps if not step.shows]
    if hidden:
        _say_of(console, "not proved", ", ".join(hidden))
