"""A hook-up plan as a value: which connectors on which points, in which order; plain JSON values and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loomproof.errors import InputError
from loomproof.loom.model import End, end_of


@dataclass(frozen=True, slots=True)
class Unit:
    """What is plugged as one: a connector, or some leads of one whose leads may be split."""

    name: str
    connector: str
    ends: tuple[End, ...]


@dataclass(frozen=True, slots=True)
class HookUp:
    """One way of plugging: which units are on, which of them are new, and the point of each cavity."""

    units: tuple[Unit, ...]
    new: tuple[str, ...]
    off: tuple[str, ...]
    point_of: Mapping[End, int]


@dataclass(frozen=True, slots=True)
class HookUpPlan:
    """All hook-ups in order. ``bound``: no plan has fewer; ``by`` says why.

    ``stay`` and ``limits`` (names of units, and how many of them may be on at once) are what hook-ups
    added later must keep to.
    """

    points: int
    hook_ups: tuple[HookUp, ...]
    plug_ins: int
    bound: int
    by: str
    stay: tuple[str, ...] = ()
    limits: tuple[tuple[tuple[str, ...], int], ...] = ()

    @property
    def units(self) -> tuple[Unit, ...]:
        """Everything that is plugged in some hook-up."""
        return tuple(dict.fromkeys(unit for hook_up in self.hook_ups for unit in hook_up.units))

    @property
    def optimal(self) -> bool:
        """Whether fewer hook-ups are proved impossible."""
        return len(self.hook_ups) == self.bound


def hook_ups_plain(plan: HookUpPlan) -> dict[str, object]:
    """Return a hook-up plan as plain JSON values."""
    return {
        "schema": 1,
        "points": plan.points,
        "plug_ins": plan.plug_ins,
        "bound": plan.bound,
        "by": plan.by,
        "stay": list(plan.stay),
        "limits": [[list(names), most] for names, most in plan.limits],
        "hook_ups": [
            {
                "units": [
                    {"name": u.name, "connector": u.connector, "cavities": [str(end) for end in u.ends]}
                    for u in hook_up.units
                ],
                "new": list(hook_up.new),
                "off": list(hook_up.off),
                "point_of": {str(end): point for end, point in hook_up.point_of.items()},
            }
            for hook_up in plan.hook_ups
        ],
    }


def read_hook_ups(value: object, where: str) -> HookUpPlan:
    """Read what `hook_ups_plain` gave. Raises `InputError` where it is something else."""
    try:
        assert isinstance(value, dict)
        assert value["schema"] == 1
        return HookUpPlan(
            int(value["points"]),
            tuple(
                HookUp(
                    tuple(
                        Unit(str(u["name"]), str(u["connector"]), tuple(end_of(c) for c in u["cavities"]))
                        for u in each["units"]
                    ),
                    tuple(map(str, each["new"])),
                    tuple(map(str, each["off"])),
                    {end_of(text): int(point) for text, point in each["point_of"].items()},
                )
                for each in value["hook_ups"]
            ),
            int(value["plug_ins"]),
            int(value["bound"]),
            str(value["by"]),
            tuple(map(str, value["stay"])),
            tuple((tuple(map(str, names)), int(most)) for names, most in value["limits"]),
        )
    except (AssertionError, KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputError(f"{where} is no hook-up plan: {error}", cure="loomproof plan makes one.") from None
