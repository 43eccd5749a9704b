"""What a VEC file holds and a loom does not: counted and told, so that nothing is dropped in silence."""

from __future__ import annotations

from collections import Counter

from lxml import etree

from loomproof.loom.kbl.document import counted, kind_of
from loomproof.loom.vec.document import EE_ROLES, VecDocument
from loomproof.loom.vec.places import TERMINALS

READ = frozenset(
    {
        *(
            "CompositionSpecification",
            "PartUsageSpecification",
            "ContactingSpecification",
            "ConnectionSpecification",
        ),
        *("CouplingSpecification", "PlacementSpecification", "RoutingSpecification", "TopologySpecification"),
        *("VariantConfigurationSpecification", "ConfigurationConstraintSpecification"),
        *("ConnectorHousingSpecification", "WireSpecification", "WireElementSpecification"),
        *("CoreSpecification", "ConductorSpecification", "ShieldSpecification", "InsulationSpecification"),
        *("WireGroupSpecification", "WireGroupingSpecification", "SignalSpecification"),
        *("FuseSpecification", "RelaySpecification", "EEComponentSpecification", "UsageNodeSpecification"),
    }
)
"""Kinds of specifications that the loom is made of."""

ROLES = (
    frozenset(
        {
            *("ConnectorHousingRole", "WireRole", "PlaceableElementRole"),
        }
    )
    | EE_ROLES
    | TERMINALS.keys()
)
"""Roles of components that are read, or that say where a component is."""


def tell_rest(document: VecDocument, harness: list[etree._Element]) -> None:
    """Tell which specifications and which roles of the harness's components did not go into the loom."""
    specifications = Counter(kind_of(one) or "Specification" for one in document.root.iter("Specification"))
    rest = Counter({kind: number for kind, number in specifications.items() if kind not in READ})
    if rest:
        document.warn_list("read and not part of a loom's description", counted(rest))
    roles = Counter(kind_of(role) for component in harness for role in component.iterfind("Role"))
    other = Counter({kind: number for kind, number in roles.items() if kind not in ROLES})
    if other:
        document.warn_list("roles of components that a loom's description does not hold", counted(other))
