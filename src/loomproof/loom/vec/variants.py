"""Variants: which conductors there are under which configuration, and circuits that keep them apart."""

from __future__ import annotations

from lxml import etree

from loomproof.loom.designations import is_known
from loomproof.loom.kbl.naming import Names
from loomproof.loom.kbl.variants import Configuration, Module, Signals, Variants, designation_in
from loomproof.loom.model import Circuit
from loomproof.loom.vec.cables import Cables
from loomproof.loom.vec.document import VecDocument

VARYING = (
    *("Component", "PartUsage", "WireElementReference", "Connection", "Routing"),
    *("ContactPoint", "CouplingPoint", "ConnectionEnd"),
)
"""Elements that a configuration may have or lack."""


def read_variants(document: VecDocument) -> Variants:
    """Return the variant configurations and the elements that each controls.

    An element under several configurations is there under any of them; one under none is always there.
    """
    found = Variants()
    names = Names()
    controls: dict[str, set[str]] = {}
    for specification in document.specifications("VariantConfigurationSpecification"):
        for element in specification.iterfind("VariantConfiguration"):
            key = element.get("id", "")
            name = names.give(document.called(element) or key)
            says = document.said(element) or document.text(element, "LogisticControlExpression")
            says = says or document.text(element, "LogisticControlString")
            found.modules[key] = Module(key, name, says, "")
            found.configurations.append(Configuration(key, name, says, _with_bases(document, element)))
    for constraint in document.root.iter("ConfigurationConstraint"):
        for key in (constraint.findtext("ConstrainedElements") or "").split():
            controls.setdefault(key, set()).update((constraint.findtext("ConfigInfo") or "").split())
    for element in document.root.iter(*VARYING):
        for key in (element.findtext("ConfigInfo") or "").split():
            controls.setdefault(element.get("id", ""), set()).add(key)
        linked = (element.findtext("ConfigurationConstraint") or "").split()
        for one in (document.by_id[key] for key in linked if key in document.by_id):
            controls.setdefault(element.get("id", ""), set()).update(
                (one.findtext("ConfigInfo") or "").split()
            )
    known = set(found.modules)
    found.controls = {key: frozenset(keys & known) for key, keys in controls.items() if keys & known}
    return found


def _with_bases(document: VecDocument, element: etree._Element | None) -> frozenset[str]:
    """Return a configuration and all that it is based on: it is there only where they are, so what they have
    it has as well."""
    found: set[str] = set()
    while element is not None and element.get("id", "") not in found:
        found.add(element.get("id", ""))
        element = document.ref(element, "BaseInclusion")
    return frozenset(found)


def read_signals(document: VecDocument, cables: Cables, variants: Variants | None) -> Signals:
    """Group conductors and connections into circuits: one for each signal, and for each set of variants."""
    found = Signals()
    names = Names()
    known: dict[tuple[str, frozenset[str]], str] = {}
    members: list[tuple[str, etree._Element, tuple[etree._Element, ...]]] = [
        (one.key, one.reference, (one.reference, one.component)) for one in cables.conductors.values()
    ]
    members += [(one.get("id", ""), one, (one,)) for one in document.root.iter("Connection")]
    for key, element, controlled in members:
        signal, designation = _signal(document, element)
        modules = (
            frozenset[str]().union(*(variants.of(one) for one in controlled)) if variants else frozenset()
        )
        if not signal and not modules:
            continue
        if (signal, modules) not in known:
            name = names.give(signal or "without signal name")
            known[signal, modules] = name
            found.circuits.append(Circuit(name, designation=designation))
            found.modules[name] = modules
        found.by_connection[key] = known[signal, modules]
    return found


def _signal(document: VecDocument, element: etree._Element) -> tuple[str, str]:
    """Return the name of an element's signal, or of its connection's, and the terminal that it is of."""
    signal = document.ref(element, "Signal")
    if signal is None:
        connection = document.ref(element, "Connection")
        signal = document.ref(connection, "Signal") if connection is not None else None
    if signal is None:
        return "", ""
    name = document.text(signal, "SignalName") or document.called(signal)
    clamp = document.text(signal, "ClampName")
    return name, clamp if clamp and is_known(clamp) else designation_in(name)
