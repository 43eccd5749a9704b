"""What sound contacts and joints have at most by section, as the oracles of the tests read NOTES.md.

Shares no code with the product. Figures: common practice, as NOTES.md of the room says.
"""

from __future__ import annotations

from loomproof.loom.model import End, Loom, Settings, Wire

# From this section, mm²: mated contact, crimp or splice joint, both mΩ.
BY_SECTION = ((15.0, 0.3, 0.1), (9.0, 1.0, 0.3), (2.45, 2.0, 0.5), (1.25, 5.0, 1.5))


def _figure(csa_mm2: float, which: int, thin_ohm: float) -> float:
    for row in BY_SECTION:
        if csa_mm2 >= row[0]:
            return min(thin_ohm, row[which] / 1000.0)
    return thin_ohm


def joint_ohm(settings: Settings, wire: Wire, end: End) -> float:
    """The most of the crimp or splice joint at one end of a wire."""
    name = "crimp_ohm" if end.cavity else "splice_ohm"
    thin_ohm: float = getattr(settings, name)
    size = settings.wire_csa_mm2 if wire.csa_mm2 is None else wire.csa_mm2
    return thin_ohm if name in settings.stated else _figure(size, 2, thin_ohm)


def joints_ohm(settings: Settings, wire: Wire) -> float:
    """The most of both joints of a wire."""
    return sum(joint_ohm(settings, wire, end) for end in wire.ends)


def mated_ohm(loom: Loom, end: End) -> float:
    """The most of the contact in a cavity."""
    settings = loom.settings
    if "contact_ohm" in settings.stated:
        return settings.contact_ohm
    sizes = [
        settings.wire_csa_mm2 if wire.csa_mm2 is None else wire.csa_mm2
        for wire in loom.wires
        if end in wire.ends
    ]
    return _figure(max(sizes, default=0.0), 1, settings.contact_ohm)


def blade_ohm(settings: Settings, rating_a: float | None) -> float:
    """The most of one seat of a blade fuse: 5 mΩ, 2 mΩ above 10 A, the loom's contact without a rating."""
    if rating_a is None or "contact_ohm" in settings.stated:
        return settings.contact_ohm
    return min(settings.contact_ohm, 0.005 if rating_a <= 10.0 else 0.002)
