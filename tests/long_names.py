"""The same loom with long names: what a drawing or a sheet must still show whole."""

from __future__ import annotations

from dataclasses import replace

from loomproof.loom.model import End, Loom
from loomproof.loom.text import list_of, names_of

PLACE = "_BEHIND_THE_WASHER_BOTTLE_LEFT_SIDE"
"""What is put behind each connector's name: nothing in it at which a line may be broken."""
RUN = "-engine-bay-trunk-section-04"
"""What is put behind each wire's name."""


def long_names(loom: Loom) -> Loom:
    """Return the loom with long names for its connectors, splices and wires."""

    def end(old: End) -> End:
        return End(old.connector + PLACE, old.cavity)

    def wires(names: str) -> str:
        return list_of([name + RUN for name in names_of(names)])

    return replace(
        loom,
        connectors=tuple(replace(each, name=each.name + PLACE) for each in loom.connectors),
        wires=tuple(
            replace(
                each,
                name=each.name + RUN,
                a=end(each.a),
                b=end(each.b),
                twisted_with=wires(each.twisted_with),
                screened_by=each.screened_by and each.screened_by + RUN,
            )
            for each in loom.wires
        ),
        components=tuple(
            replace(each, terminals=tuple((name, end(at)) for name, at in each.terminals))
            for each in loom.components
        ),
        cavity_facts=tuple(replace(each, end=end(each.end)) for each in loom.cavity_facts),
    )
