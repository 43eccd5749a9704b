"""What is never energised, and what must be confirmed first.

The refusals here do not depend on how small the test current is: a pyrotechnic circuit stays off the
bench whatever the options. They are a tool's caution and no permission: local rules and licensed
practice come first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from loomproof.bench.seam import Capabilities
from loomproof.errors import SafetyError, Todo, UnfitError, UsageError
from loomproof.loom.model import Connector, ConnectorKind, Hazard, Settings
from loomproof.loom.pyrotechnic_names import suggests_pyrotechnics

LONGEST_DWELL_MS = 60_000

_WORST_FIRST = (Hazard.PYROTECHNIC, Hazard.ELECTRONICS, Hazard.NONE, Hazard.UNKNOWN)
"""Which of two statements about a connector counts; that nobody knows gives way to any of them."""


def refuse_hazards(
    connectors: Iterable[Connector],
    *,
    simulated: bool,
    answers: Mapping[str, Hazard] | None = None,
) -> None:
    """Refuse connectors that must not be energised, and on a real bench those nobody has answered for.

    ``connectors`` are all of the loom's, with a point or without: current goes on through the wires, and
    through wires that the description does not know. Splices do not count. ``answers`` are what a person
    said of connectors: they fill in what the description leaves open and, of what it states, the worse
    counts. Raises
    `SafetyError` that names every connector, `UsageError` for an answer about no such connector.
    """
    given = dict(answers or {})
    known = [each for each in connectors if each.kind is not ConnectorKind.SPLICE]
    strangers = sorted(set(given) - {each.name for each in known})
    if strangers:
        raise UsageError(f"an answer is given for {', '.join(strangers)}, and the loom has no such connector")
    marked: dict[Hazard, list[str]] = {}
    suspected: list[str] = []
    for each in known:
        hazard = min(each.hazard, given.get(each.name, Hazard.UNKNOWN), key=_WORST_FIRST.index)
        marked.setdefault(hazard, []).append(each.name)
        if hazard is Hazard.UNKNOWN and suggests_pyrotechnics(each.name, each.description):
            suspected.append(each.name)
    if Hazard.PYROTECHNIC in marked:
        raise SafetyError(
            f"pyrotechnic circuits end at {', '.join(marked[Hazard.PYROTECHNIC])}; "
            "they are never put on a bench",
            cure="Leave airbag and belt-tensioner wiring to licensed practice; take these connectors and "
            "their wires out of the loom and out of its description.",
        )
    if Hazard.ELECTRONICS in marked:
        raise SafetyError(
            f"electronics are still in place at {', '.join(marked[Hazard.ELECTRONICS])}",
            cure="Unplug them, then state hazard none for these connectors.",
        )
    if suspected:
        # Refused on a simulated bench too: what is practised there is done again at a real one.
        raise SafetyError(
            f"by its name an airbag or a belt tensioner may be at {', '.join(suspected)}, and nobody has "
            "said what is there",
            cure="Keep it off the bench, look at it, then fill in the column hazard of connectors.csv, or "
            "say it here: none, pyrotechnic or electronics in place.",
            do=Todo.HAZARD,
        )
    if Hazard.UNKNOWN in marked and not simulated:
        raise SafetyError(
            f"nobody has said what is at {', '.join(marked[Hazard.UNKNOWN])}",
            cure="Look at each one, then fill in the column hazard of connectors.csv, or say it here: "
            "none, pyrotechnic or electronics in place.",
            do=Todo.HAZARD,
        )


def check_stimulus(able: Capabilities, settings: Settings) -> None:
    """Refuse a bench whose test current or voltage is over what the loom may see. Raises `SafetyError`."""
    if able.test_current_a > settings.test_current_a:
        raise SafetyError(
            f"the bench tests with up to {able.test_current_a:g} A, and the loom's limit is "
            f"{settings.test_current_a:g} A",
            cure="Take a gentler bench, or set test_current_a in loom.toml if the loom bears more.",
        )
    if able.test_voltage_v > settings.test_voltage_v:
        raise SafetyError(
            f"the bench tests with up to {able.test_voltage_v:g} V, and the loom's limit is "
            f"{settings.test_voltage_v:g} V",
            cure="Take a gentler bench, or set test_voltage_v in loom.toml if the loom bears more.",
        )


def check_insulation(able: Capabilities, settings: Settings, volts: float, dwell_ms: int) -> None:
    """Refuse an insulation test that bench or loom cannot bear, before anything is driven.

    Raises `UsageError` for a voltage or dwell that is none, `UnfitError` where the bench cannot,
    `SafetyError` where the loom's description does not allow it.
    """
    if not (volts > 0.0 and 0 < dwell_ms <= LONGEST_DWELL_MS):
        raise UsageError(
            f"{volts:g} V for {dwell_ms} ms cannot be tested", cure=f"Dwell is at most {LONGEST_DWELL_MS} ms."
        )
    if able.insulation_v <= 0:
        raise UnfitError(
            "this bench has no insulation test", cure="Leave it out, or take a bench that has one."
        )
    if volts > able.insulation_v:
        raise UnfitError(
            f"the bench tests insulation with up to {able.insulation_v:g} V; {volts:g} V were asked for"
        )
    if volts > settings.insulation_test_v:
        bears = f"{settings.insulation_test_v:g} V" if settings.insulation_test_v else "no insulation test"
        raise SafetyError(
            f"an insulation test at {volts:g} V was asked for, and the description allows {bears}",
            cure="Set insulation_test_v in loom.toml to what the wire and all that stays on it bears. "
            "Everything with electronics in it comes off first. Ask a licensed person where unsure.",
        )
