"""Modules and configurations: which connections a harness really has, and choices about them.

A modular file holds every variant at once. What decides about a connection are the modules that control
the connection itself; a wire's or a connector's module says nothing about it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from lxml import etree

from loomproof.errors import DescriptionError, suggestion
from loomproof.loom.designations import is_known
from loomproof.loom.kbl.document import Document
from loomproof.loom.kbl.naming import FIRST, Names
from loomproof.loom.model import Answer, Choice, Circuit, Need
from loomproof.loom.text import first_of

CONFIGURATION = "configuration"
"""The name of the choice that stands for a file's configurations."""


@dataclass(frozen=True)
class Module:
    """A module of the harness, by the element's id, with the name that people see and its family."""

    key: str
    name: str
    says: str
    family: str


@dataclass(frozen=True)
class Configuration:
    """A configuration of the harness and the modules it names."""

    key: str
    name: str
    says: str
    modules: frozenset[str]


@dataclass
class Variants:
    """Modules, configurations, families (id to name) and what controls each element, by ids."""

    modules: dict[str, Module] = field(default_factory=dict)
    configurations: list[Configuration] = field(default_factory=list)
    families: dict[str, str] = field(default_factory=dict)
    controls: dict[str, frozenset[str]] = field(default_factory=dict)

    def of(self, element: etree._Element) -> frozenset[str]:
        """Return the modules that control an element."""
        return self.controls.get(element.get("id", ""), frozenset())

    def has(self, element: etree._Element, chosen: frozenset[str] | None) -> bool:
        """Whether an element is there when these modules are; all are where none is chosen."""
        modules = self.of(element)
        return chosen is None or not modules or bool(modules & chosen)


def read_variants(document: Document) -> Variants:
    """Return the modules and configurations of the harness."""
    found = Variants()
    names = Names()
    for element in document.harness.iterfind("Module_families"):
        key = element.get("id", "")
        told = (document.text(element, "Id"), document.text(element, "Description"))
        found.families[key] = " ".join(filter(None, told)) or key
    controls: dict[str, set[str]] = {}
    for module in document.harness.iterfind("Module"):
        key = module.get("id", "")
        inner = module.find("Module_configuration")
        family = (module.findtext("Of_family") or "").strip()
        name = names.give(document.text(module, "Part_number") or key)
        says = document.text(inner, "Logistic_control_information") or document.text(module, "Description")
        found.modules[key] = Module(key, name, says, family)
        _control(inner, (key,), controls)
    _shared(document, found, controls)
    found.controls = {key: frozenset(modules) for key, modules in controls.items()}
    _configurations(document, found)
    return found


def _control(source: etree._Element | None, modules: Iterable[str], controls: dict[str, set[str]]) -> None:
    if source is not None:
        for key in (source.findtext("Controlled_components") or "").split():
            controls.setdefault(key, set()).update(modules)


def _shared(document: Document, found: Variants, controls: dict[str, set[str]]) -> None:
    """Add what module lists of the harness control; a list names modules by their ids, any of them counts."""
    unread = 0
    for shared in document.harness.iterfind("Module_configuration"):
        modules = (shared.findtext("Logistic_control_information") or "").split()
        if modules and all(key in found.modules for key in modules):
            _control(shared, modules, controls)
        else:
            unread += 1
    if unread:
        document.warn(
            f"module configurations of the harness that state option codes, which are not evaluated: {unread}"
        )


def _configurations(document: Document, found: Variants) -> None:
    """Name each configuration by the first of its texts that no other has."""
    elements = document.harness.findall("Harness_configuration")
    tags = [
        "Part_number",
        "Abbreviation",
        "Description",
        "Car_classification_level_4",
        "Car_classification_level_3",
        "Logistic_control_information",
        "Version",
    ]
    texts = {tag: [document.text(element, tag) for element in elements] for tag in tags}
    names = Names()
    for index, element in enumerate(elements):
        own = [texts[tag][index] for tag in tags if texts[tag][index]]
        telling = [
            texts[tag][index]
            for tag in tags
            if texts[tag][index] and texts[tag].count(texts[tag][index]) == 1
        ]
        key = element.get("id", "")
        name = names.give(telling[0] if telling else own[0] if own else key)
        modules = frozenset((element.findtext("Modules") or "").split())
        found.configurations.append(Configuration(key, name, " ".join(own), modules))


def chosen_modules(
    document: Document, variants: Variants, configuration: str | None
) -> frozenset[str] | None:
    """Return the modules of a configuration (by its name or element id); ``None`` for the whole file.

    Says plainly where that is no buildable car. Raises `DescriptionError` for an unknown configuration.
    """
    if configuration is None:
        _say_whole(document, variants)
        return None
    for known in variants.configurations:
        if configuration in (known.name, known.key):
            _say_chosen(document, variants, known)
            return known.modules
    names = [known.name for known in variants.configurations]
    raise DescriptionError(
        f"{document.name} has no configuration {configuration!r}",
        cure=suggestion(configuration, names) or f"It has: {', '.join(names) or 'none'}.",
    )


def _say_whole(document: Document, variants: Variants) -> None:
    names = ", ".join(repr(known.name) for known in variants.configurations)
    _say_doubled(
        document,
        f"all {len(variants.modules)} modules are read at once; that is no buildable car, for these "
        "families have more than one",
        _doubled(variants, frozenset(variants.modules)),
        cure=f"Name a configuration: {names}." if names else "",
    )


def _say_chosen(document: Document, variants: Variants, known: Configuration) -> None:
    if not known.modules:
        document.warn(
            f"configuration {known.name!r} names no module: no wire is left",
            cure="Name another configuration, or none for the whole file.",
        )
    _say_doubled(
        document,
        f"configuration {known.name!r} fits alternatives at once and is no buildable car",
        _doubled(variants, known.modules),
    )


def _say_doubled(document: Document, what: str, doubled: dict[str, list[str]], cure: str = "") -> None:
    """Name each family with its modules; in short some of the families."""
    if doubled:
        whole = "; ".join(f"{family}: {', '.join(names)}" for family, names in doubled.items())
        document.warn(f"{what}: {whole}", cure=cure, short=f"{what}: {first_of(doubled, FIRST)}")


def _doubled(variants: Variants, modules: frozenset[str]) -> dict[str, list[str]]:
    """Return the families that have more than one of these modules, with them."""
    by_family: dict[str, list[str]] = {}
    for key, module in variants.modules.items():
        if key in modules and module.family:
            by_family.setdefault(module.family, []).append(module.name)
    return {
        variants.families.get(family, family): names for family, names in by_family.items() if len(names) > 1
    }


@dataclass
class Signals:
    """Circuits by connection id, the circuits themselves, and the modules behind each."""

    by_connection: dict[str, str] = field(default_factory=dict)
    circuits: list[Circuit] = field(default_factory=list)
    modules: dict[str, frozenset[str]] = field(default_factory=dict)

    def only(self, used: set[str]) -> Signals:
        """Return the circuits of these names; the others lost their wires on the way."""
        circuits = [circuit for circuit in self.circuits if circuit.name in used]
        modules = {name: keys for name, keys in self.modules.items() if name in used}
        return Signals(self.by_connection, circuits, modules)


def designation_in(signal: str) -> str:
    """Return the DIN 72552 designation that the second dotted field of a signal name is.

    ``V.15A.SYS_034`` gives ``15a``; ``31S`` gives none, for it is not 31: an oil switch is no earth. Common
    practice of the files' senders, not part of KBL.
    """
    said = _designated(signal)
    return next((wanted for wanted in (said, said.lower(), said.upper()) if said and is_known(wanted)), "")


def _designated(signal: str) -> str:
    fields = signal.split(".")
    return re.split(r"[_\s]", fields[1].strip())[0] if len(fields) > 1 else ""


def read_signals(document: Document, connections: list[etree._Element], variants: Variants | None) -> Signals:
    """Group connections into circuits: one for each signal, and for each set of modules where given."""
    found = Signals()
    names = Names()
    known: dict[tuple[str, frozenset[str]], str] = {}
    of_each = {variants.of(one) for one in connections} if variants is not None else set()
    for connection in connections:
        signal = document.text(connection, "Signal_name")
        modules = variants.of(connection) if variants is not None else frozenset[str]()
        if not signal and (not modules or len(of_each) == 1):
            continue  # A circuit without a name only tells variants apart.
        key = (signal, modules)
        if key not in known:
            known[key] = names.give(signal or "without signal name")
            found.circuits.append(Circuit(known[key], designation=designation_in(signal)))
            found.modules[known[key]] = modules
        found.by_connection[connection.get("id", "")] = known[key]
    unknown = sorted({said for signal, _ in known if _like_one(said := _designated(signal))})
    document.warn_of(
        "second fields of signal names that are like a terminal and none of DIN 72552, not taken for one",
        unknown,
        cure="Where you know which terminal it is, fill in `designation` in the circuits table.",
    )
    return found


def _like_one(said: str) -> bool:
    """Whether a field looks like a terminal designation, digits and a few letters, and is none."""
    return re.fullmatch(r"\d{1,3}[A-Za-z]{1,3}", said) is not None and not any(
        is_known(way) for way in (said, said.lower(), said.upper())
    )


def choices_of(variants: Variants, signals: Signals) -> tuple[Choice, ...]:
    """Return one choice for the configurations and one for each family with a choice of modules."""
    found: list[Choice] = []
    names = Names()
    modular = [(name, modules) for name, modules in signals.modules.items() if modules]
    if variants.configurations and modular:
        answers = tuple(
            Answer(known.name, _says(variants, known.modules), _makes(modular, known.modules))
            for known in variants.configurations
        )
        found.append(
            Choice(names.give(CONFIGURATION), "Which configuration of the harness is this loom?", answers)
        )
    for family, name in variants.families.items():
        members = [module for module in variants.modules.values() if module.family == family]
        keys = frozenset(module.key for module in members)
        spoken = [(circuit, modules & keys) for circuit, modules in modular if modules & keys]
        if len(members) > 1 and spoken:
            answers = tuple(
                Answer(module.name, module.says, _makes(spoken, frozenset((module.key,))))
                for module in members
            )
            question = f"Which module of {name} is fitted?"
            found.append(Choice(names.give(_choice_name(name)), question, answers))
    return tuple(found)


def _choice_name(family: str) -> str:
    """Return a name that can be typed without quotes: ``module-005`` for the family ``005 LTGS.ABS``."""
    return f"module-{family.split(' ')[0]}"


def _says(variants: Variants, modules: frozenset[str]) -> str:
    return ", ".join(module.name for key, module in variants.modules.items() if key in modules) or "no module"


def _makes(
    circuits: list[tuple[str, frozenset[str]]], chosen: frozenset[str]
) -> tuple[tuple[str, Need], ...]:
    return tuple((circuit, Need.NEEDED if modules & chosen else Need.UNUSED) for circuit, modules in circuits)
