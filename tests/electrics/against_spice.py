"""One random loom, everything that the expectation says of it, against ngspice."""

from __future__ import annotations

import random
from dataclasses import dataclass

from loomproof.electrics.components import component_reading
from loomproof.electrics.expectation import expect
from loomproof.electrics.readings import readings_of
from loomproof.loom.model import End

from .looms import random_loom
from .spice import Ask, resistances

RELATIVE = 1e-3
ABSOLUTE_OHM = 1e-4


@dataclass(frozen=True)
class Compared:
    """How many values were compared, and the worst of them as a share of what is allowed (1 is the edge)."""

    values: int
    worst: float
    what: str


def compare(seed: int) -> Compared:
    """Compare expected, greatest and open values and component readings of one loom."""
    rng = random.Random(seed)
    loom = random_loom(
        rng,
        nets=rng.randrange(1, 9),
        cavities=rng.randrange(9, 40),
        parts=rng.randrange(6),
        diodes=rng.randrange(4),
    )
    temperature_c = rng.choice([-10.0, 5.0, 20.0, 23.5, 40.0])
    expectation = expect(loom, temperature_c)
    pairs: list[tuple[End, End]] = []
    for net in expectation.nets:
        pairs += readings_of(expectation, net.index).pairs
        if len(net.cavities) > 1:
            a, b = rng.sample(net.cavities, 2)
            pairs.append((a, b))
    found = expectation.between_all(pairs)
    checks: list[tuple[str, float, float]] = []

    asks = [Ask(*pair) for pair in pairs]
    for between, ohm in zip(found, resistances(loom, asks, temperature_c), strict=True):
        checks.append((f"expected {between.a} {between.b}", between.expected_ohm, ohm))
    for between, ohm in zip(found, resistances(loom, asks, temperature_c, greatest=True), strict=True):
        checks.append((f"greatest {between.a} {between.b}", between.sound_ohm, ohm))

    wire = rng.choice(loom.wires).name
    seen = [between for between in found if between.open_ohm.get(wire, float("inf")) < 1e9]
    opened = resistances(loom, [Ask(b.a, b.b) for b in seen], temperature_c, without=[wire])
    for between, ohm in zip(seen, opened, strict=True):
        checks.append((f"{wire} open {between.a} {between.b}", between.open_ohm[wire], ohm))

    readings = [component_reading(expectation, coupling) for coupling in expectation.couplings]
    plain = [r for r in readings if r.expected_ohm is not None and not r.masked_by]
    # Half a volt across the part, so that a diode that should not conduct has every chance to.
    asks = [Ask(r.a, r.b, 0.5 / r.expected_ohm) for r in plain if r.expected_ohm is not None]
    for reading, ohm in zip(plain, resistances(loom, asks, temperature_c), strict=True):
        assert reading.expected_ohm is not None
        checks.append((f"{reading.component} {reading.a} {reading.b}", reading.expected_ohm, ohm))
    for reading, ask in zip(plain, asks, strict=True):
        if reading.missing_ohm < 1e6:
            (ohm,) = resistances(loom, [ask], temperature_c, without=[reading.component])
            checks.append((f"{reading.component} missing", reading.missing_ohm, ohm))

    worst, what = 0.0, ""
    for name, ours, theirs in checks:
        share = abs(ours - theirs) / max(ABSOLUTE_OHM, RELATIVE * abs(theirs))
        if share > worst:
            worst, what = share, f"{name}: {ours:.9g} against {theirs:.9g} Ω"
    return Compared(len(checks), worst, what)
