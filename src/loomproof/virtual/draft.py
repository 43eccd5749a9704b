"""A loom as faults are worked into it, one after the other, before it becomes a network."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from loomproof.errors import UsageError
from loomproof.loom.model import Component, ComponentKind, ConnectorKind, End, Loom, Wire
from loomproof.virtual import constants as c
from loomproof.virtual.capacitance import Profile, profile_of
from loomproof.virtual.faults import Fault
from loomproof.virtual.plugs import put_on_wrongly

_PLUGGED = {ComponentKind.FUSE, ComponentKind.RELAY, ComponentKind.LINK, ComponentKind.COIL}
_HOLDERS = {ConnectorKind.FUSE_HOLDER, ConnectorKind.RELAY_BASE}
_WHOLE = {"exchange", "mirror", "rotate", "shift"}


@dataclass(slots=True)
class Run:
    """A conductor while faults are worked into it."""

    ends: list[End]
    ohm: float
    profile: Profile
    open_m: float | None = None
    taps: list[tuple[float, End]] = field(default_factory=list)
    loose_hz: float = 0.0


class Draft:
    """The loom as it is being built; each fault changes it in turn."""

    def __init__(self, loom: Loom, seed: int) -> None:
        self.loom = loom
        self.seed = seed
        self.runs = {wire.name: self._run(wire) for wire in loom.wires}
        areas = ((end, self._area(wire)) for wire in loom.wires for end in wire.ends)
        self.thickest_mm2 = dict(sorted(areas, key=lambda found: found[1]))  # the last of an end counts
        self.parts = {part.name: part for part in loom.components if part.fitted}
        self.values: dict[str, float] = {}
        self.reversed: set[str] = set()
        self.contact_ohm: dict[End, float] = {}
        self.contact_open: set[End] = set()
        self.contact_hz: dict[End, float] = {}
        self.moved: dict[End, End] = {}
        self.joints: list[tuple[End, End, float]] = []
        self.diodes: list[tuple[End, End, float]] = []
        self.breakdowns: list[tuple[End, End, float]] = []
        self.farads: list[tuple[End, float]] = []
        self.sources: list[tuple[End, End | None, float, float]] = []
        self.charged: list[tuple[End, End, float, float]] = []

    def _run(self, wire: Wire) -> Run:
        length = self.loom.settings.wire_length_m if wire.length_m is None else wire.length_m
        stray = 1.0 + c.STRANDING_SPREAD * (2.0 * c.share(self.seed, "wire", wire.name) - 1.0)
        ohm = c.COPPER_OHM_MM2_PER_M * c.STRANDING * stray * length / self._area(wire)
        per_m = c.SCREENED_F_PER_M if wire.screened_by else c.WIRE_F_PER_M
        return Run(list(wire.ends), ohm, profile_of(wire.name, length, per_m, self.seed))

    def joint_ohm(self, wire: str, side: int, end: End) -> float:
        """The crimp or splice at one end of a wire."""
        settings = self.loom.settings
        name = "crimp_ohm" if end.cavity else "splice_ohm"
        allowance = settings.crimp_ohm if end.cavity else settings.splice_ohm
        if name not in settings.stated:
            allowance = c.thick(self._area(self.loom.wire_by_name[wire]), allowance, c.THICK_JOINT_OHM_MM2)
        return allowance * c.between(c.CONTACT_SHARE, self.seed, "joint", wire, "ab"[side])

    def mated_ohm(self, end: End) -> float:
        """The contact that a cavity makes with the adapter."""
        allowance = self.loom.settings.contact_ohm
        if "contact_ohm" not in self.loom.settings.stated:
            allowance = c.thick(self.thickest_mm2.get(end, 0.0), allowance, c.THICK_CONTACT_OHM_MM2)
        return allowance * c.between(c.CONTACT_SHARE, self.seed, "contact", *end)

    def _area(self, wire: Wire) -> float:
        return self.loom.settings.wire_csa_mm2 if wire.csa_mm2 is None else wire.csa_mm2

    def apply(self, fault: Fault) -> None:
        """Work one fault in."""
        match fault.kind:
            case "open" | "high" | "loose":
                self._conductor(fault)
            case "open splice" | "high splice":
                self._splice(fault)
            case "short":
                self.joints.append((fault.ends[0], fault.ends[1], c.SHORT_OHM))
            case "leak" | "part":
                self.joints.append((fault.ends[0], fault.ends[1], fault.value))
            case "part diode":
                self.diodes.append((fault.ends[0], fault.ends[1], c.DIODE_FORWARD_V))
            case "part led":
                self.diodes.append((fault.ends[0], fault.ends[1], c.LED_FORWARD_V))
            case "rub":
                bare, rubbed = (
                    self._tap(fault, name, end, at_m)
                    for name, end, at_m in zip(
                        (fault.name, fault.other), fault.ends, fault.places_m, strict=True
                    )
                )
                self.joints.append((bare, rubbed, fault.value or c.SHORT_OHM))
            case "breakdown":
                self.breakdowns.append((fault.ends[0], fault.ends[1], fault.value))
            case "swap" | "move":
                self._rearrange({fault.ends[0]: fault.ends[1], fault.ends[1]: fault.ends[0]}, fault)
            case "exchange":
                one, two = (self.loom.by_name[name] for name in (fault.name, fault.other))
                there = {End(one.name, cavity): End(two.name, cavity) for cavity in one.cavities}
                self._rearrange(there | {to: at for at, to in there.items()}, fault)
            case "mirror" | "rotate" | "shift":
                self._rearrange(put_on_wrongly(self.loom.by_name[fault.name], fault.kind), fault)
            case "reversed":
                self._fitted(fault)
                self.reversed ^= {fault.name}
            case "missing" | "blown":
                self._fitted(fault)
                del self.parts[fault.name]
            case "value":
                self._fitted(fault)
                self.values[fault.name] = fault.value
            case "voltage":
                minus = fault.ends[1] if len(fault.ends) > 1 else None
                self.sources.append((fault.ends[0], minus, fault.value, c.SUPPLY_OHM))
            case "charged":
                self.charged.append((fault.ends[0], fault.ends[1], fault.value, fault.volts))
            case "touched":
                self.sources.append((fault.ends[0], None, 0.0, c.PROBE_OHM))
            case "capacitance":
                self.farads.append((fault.ends[0], fault.value))
            case _:
                raise AssertionError(fault.kind)

    def _fitted(self, fault: Fault) -> None:
        if fault.name not in self.parts:
            raise UsageError(
                f"fault {fault.text!r}: {fault.name} is not in place while the loom is proved",
                cure="Its row in components.csv says so, or another fault took it out.",
            )

    def _conductor(self, fault: Fault) -> None:
        if not fault.name:
            (end,) = fault.ends
            if fault.kind == "open":
                self.contact_open.add(end)
            elif fault.kind == "high":
                self.contact_ohm[end] = self.contact_ohm.get(end, 0.0) + fault.value
            else:
                self.contact_hz[end] = fault.value
            return
        run = self.runs[fault.name]
        if fault.kind == "open":
            ends = fault.ends
            run.open_m = (
                self._place(fault, fault.name, ends[0], fault.value) if ends else run.profile.length_m / 2
            )
        elif fault.kind == "high":
            run.ohm += fault.value
        else:
            run.loose_hz = fault.value

    def _place(self, fault: Fault, name: str, end: End, at_m: float) -> float:
        """Return how far from its first end a place lies that is so far from this one."""
        length = self.runs[name].profile.length_m
        if at_m > length:
            raise UsageError(f"fault {fault.text!r}: {name} is {length:g} m long")
        return length - at_m if self.loom.wire_by_name[name].ends.index(end) == 1 else at_m

    def _tap(self, fault: Fault, name: str, end: End, at_m: float) -> End:
        """Return the bare copper of a wire at a place."""
        place_m = self._place(fault, name, end, at_m)
        tap = End(name, f"rubbed through {place_m!r} m along")
        self.runs[name].taps.append((place_m, tap))
        return tap

    def _splice(self, fault: Fault) -> None:
        """A joint that came apart leaves each wire alone; in a bad one half the ohms stand before each."""
        (end,) = fault.ends
        for name, run in self.runs.items():
            for side, at in enumerate(run.ends):
                if at != end:
                    continue
                if fault.kind == "high splice":
                    run.ohm += fault.value / 2
                else:
                    run.ends[side] = End(end.connector, f"end {'ab'[side]} of {name}")

    def _rearrange(self, there: Mapping[End, End], fault: Fault) -> None:
        """Move terminals between cavities, with what is crimped or soldered to them."""
        if fault.kind == "move" and any(fault.ends[1] in run.ends for run in self.runs.values()):
            raise UsageError(f"fault {fault.text!r}: {fault.ends[1]} holds a wire already", cure="Use swap.")
        for run in self.runs.values():
            run.ends = [there.get(end, end) for end in run.ends]
        for name, part in list(self.parts.items()):
            if fault.kind in _WHOLE or not self._sits_in_holder(part):
                terminals = tuple((terminal, there.get(end, end)) for terminal, end in part.terminals)
                self.parts[name] = replace(part, terminals=terminals)

    def _sits_in_holder(self, part: Component) -> bool:
        return part.kind in _PLUGGED and all(
            self.loom.by_name[end.connector].kind in _HOLDERS for end in part.ends
        )
