"""What a person answers of a loom: choices of a conversion, what they make of its circuits; hazards."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from loomproof.errors import UsageError, suggestion
from loomproof.loom.checking import near_miss
from loomproof.loom.model import Hazard, Loom, Need


def answers_of(loom: Loom, said: Iterable[str]) -> dict[str, str]:
    """Read answers such as ``fan=computer``; choices without one take their default.

    Returns choice name to answer name, for every choice that has an answer. Raises `UsageError` for a choice
    or an answer that the loom does not know, and for one choice answered in two ways.
    """
    pairs = []
    for text in said:
        name, equals, answer = (part.strip() for part in text.partition("="))
        if not equals or not name or not answer:
            raise UsageError(
                f"the answer {text!r} is not of the form choice=answer", cure="Like fan=computer."
            )
        pairs.append((name, answer))
    return answered(loom, pairs)


def answered(loom: Loom, said: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Return the answer to each choice that has one, from pairs of choice and answer.

    Raises as `answers_of` does.
    """
    choices = {choice.name: choice for choice in loom.choices}
    given: dict[str, str] = {}
    for name, answer in said:
        if name not in choices:
            near = near_miss(name, choices)
            cure = (
                f"There is {near}."
                if near
                else f"Known: {', '.join(choices) or 'none; this loom has no choices'}."
            )
            raise UsageError(f"the loom has no choice {name!r}", cure=cure)
        known = [known.name for known in choices[name].answers]
        if answer not in known:
            near = near_miss(answer, known)
            cure = f"There is {near}." if near else f"Known: {', '.join(known)}."
            raise UsageError(f"{answer!r} is no answer to {choices[name].question!r} ({name})", cure=cure)
        if given.setdefault(name, answer) != answer:
            raise UsageError(f"the choice {name!r} is answered twice, {given[name]!r} and {answer!r}")
    return {
        name: given.get(name, choice.default)
        for name, choice in choices.items()
        if given.get(name, choice.default)
    }


def needs_of(loom: Loom, answers: Mapping[str, str] | None = None) -> dict[str, Need]:
    """Return for each circuit whether this conversion needs it under the answers."""
    return {circuit.name: loom.need_of(circuit.name, answers) for circuit in loom.circuits}


def hazards_of(loom: Loom, said: Iterable[str]) -> dict[str, Hazard]:
    """Read what is at connectors, such as ``LAMP=none``. Raises `UsageError` where it says none, or two."""
    known = [connector.name for connector in loom.connectors]
    found: dict[str, Hazard] = {}
    for text in said:
        name, equals, hazard = text.rpartition("=")
        if not equals or not name or hazard not in set(Hazard) - {Hazard.UNKNOWN}:
            raise UsageError(
                f"{text!r} says no hazard",
                cure="Write CONNECTOR=none, CONNECTOR=pyrotechnic or CONNECTOR='electronics in place'.",
            )
        if name not in known:
            raise UsageError(
                f"the hazard {text!r}: the loom has no connector {name}",
                cure=suggestion(name, known) or f"It has {', '.join(known)}.",
            )
        if found.get(name, hazard) != hazard:
            raise UsageError(
                f"the hazard at {name} is said to be {found[name]} and {hazard}",
                cure="Look at it again, and say it once.",
            )
        found[name] = Hazard(hazard)
    return found
