"""A look at the loom before anything on it is driven: is there a voltage on it?

In this order: the empty drive, which drives nothing; then voltages, two points at a time, so that no two nets
are ever joined (a set that joins nets shorts the battery that it looks for); then every point driven alone,
which can draw no more than pull-up current from a source. Only after these may several points be driven.

What the empty drive shows on a bench that measures no voltage. Let a source of V hold a net of p points above
one of m points. The p + m pull-ups, all alike, balance where the net at the minus stands V·p/(p+m) under the
supply; the supply is at most the bench's test voltage T, and an input below 0 V reads low for sure. So the
empty drive surely shows V ≥ T·(1 + m/p), and may miss any less. Of two sources in one loom either may hide
the other. A point at the plus that is driven alone pulls the net at the minus low at any V, but so does a
diode.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import islice

from loomproof.bench.interface import Bench
from loomproof.bench.seam import Capabilities, PointSet, points_of
from loomproof.loom.text import first_of
from loomproof.measuring.check import Check
from loomproof.measuring.clearance import Clearance, require_loom
from loomproof.planning.conductors import Conductors

VOLT_LIMIT_V = 0.5
"""Largest voltage that counts as none. Ours: under any vehicle supply, over what galvanic contacts make."""

VOLT_TIME_S = 30.0
"""How long looking for a voltage with nothing driven may take, by the bench's time for a reading. Ours."""

ROUND_TRIP_S = 0.002
"""What a question costs beside the reading itself (assumption, for the time limit only)."""

SINGLE_READINGS = 200
"""So many voltages are read at the most where single drives show what should not be."""

SLOWEST_US = 200_000
"""A point that is not high after so long is not on its way up."""

SOURCES = "a battery, a second battery, a charged capacitor or a backup supply"
"""What can be a source on a loom, for people."""


class MeterWanted(Check):
    """A check that waits for what a person reads with a meter."""


def meter_words(given: Conductors) -> str:
    """Return, for a person with a voltmeter, between which ends to read and what can be a source there."""
    earths = first_of(given.spot(i) for i in given.earths)
    feeds = first_of(given.spot(i) for i in given.feeds if i not in given.earths)
    if earths and feeds:
        where = f"black lead on each earth in turn ({earths}), red lead on each feed ({feeds})"
        where += " and on each other earth" if len(given.earths) > 1 else ""
        where += "; then from each feed to each other" if len(given.feeds) > 1 else ""
    elif earths or feeds:
        where = f"one lead on each of {earths or feeds}, the other on every other thick wire"
    else:
        where = "between the thickest wires, each against each"
    return f"voltmeter, direct voltage: {where}. A source is {SOURCES}."


def look_undriven(bench: Bench, clearance: Clearance, given: Conductors, limit_v: float) -> tuple[Check, ...]:
    """Look for a voltage with nothing driven. Return the checks "voltage" and, of a bench that senses, "empty
    drive"; where one did not pass, nothing may be driven. The largest voltage that a person read with a meter
    is the clearance's ``meter_v``. Raises `SafetyError` without a clearance for a loom on this bench.
    """
    require_loom(clearance, bench)
    meter_v = clearance.meter_v
    if meter_v is not None and not abs(meter_v) <= limit_v:
        return (Check("voltage", False, f"{meter_v:g} V by a person's meter (limit {limit_v:g} V)"),)
    able = bench.capabilities()
    low = _empty(bench) if able.sense_ohm is not None else 0
    if able.volt_max is None:
        voltage = _by_meter(able, given, meter_v, limit_v, low)
    else:
        voltage = _voltages(bench, given, meter_v, limit_v, low)
    if able.sense_ohm is None:
        return (voltage,)
    return (voltage, Check("empty drive", not low, held_low(given, low) if low else "all points read high"))


def drive_alone(bench: Bench, clearance: Clearance, given: Conductors, limit_v: float) -> tuple[Check, ...]:
    """Drive every point alone, and read the voltage between those that pull what they should not.

    Return the checks "read back" and "one at a time"; where one did not pass, no two points may be driven.
    Raises `SafetyError` without a clearance for a loom on this bench.
    """
    require_loom(clearance, bench)
    able = bench.capabilities()
    points = [point for net in given.nets for point in points_of(net)]
    if not _rises(bench, max(given.nets, key=int.bit_count, default=0)):
        text = (
            "what one point alone pulls low does not rise again when nothing is driven: a voltage on the "
            f"loom ({SOURCES}), or a large capacitor (is a control unit still plugged in?)"
        )
        return (Check("settle", False, text),)
    low_of = dict(zip(points, bench.sense([1 << (point - 1) for point in points]), strict=True))
    dead = sum(1 << (point - 1) for point, low in low_of.items() if not low >> (point - 1) & 1)
    if dead:
        text = f"point {_numbers(dead)} reads high while driven: a dead driver, or a voltage on "
        text += given.named(dead)
        return (Check("read back", False, text),)
    back = Check("read back", True, "every driven point reads low")
    odd = _odd_pairs(given, low_of)
    one_way = [pair for pair, turned in odd.items() if not turned]
    if able.volt_max is None:
        text = f"{len(points)} points driven alone"
        if one_way:
            told = first_of(
                f"{given.name(a)} pulls {given.name(b)} low and not the other way" for a, b in one_way
            )
            text += f"; {told}: a diode, or a voltage, which only a meter tells"
        return (back, Check("one at a time", True, text))
    wanted = [*one_way, *(pair for pair, turned in odd.items() if turned)]
    worst, place = 0.0, ""
    for a, b in wanted[:SINGLE_READINGS]:
        volts = bench.voltage(1 << (a - 1), 1 << (b - 1))
        if abs(volts) > abs(worst):
            worst, place = volts, f"{given.name(a)} (point {a}) against {given.name(b)} (point {b})"
    if abs(worst) > limit_v:
        return (back, Check("voltage", False, f"{worst:.3g} V at {place} (limit {limit_v:g} V): {SOURCES}"))
    text = f"{len(points)} points driven alone"
    if wanted:
        text += f"; {min(len(wanted), SINGLE_READINGS)} of {len(wanted)} pairs that pull each other without "
        text += f"being one conductor read, largest {worst:.3g} V"
    return (back, Check("one at a time", True, text))


def held_low(given: Conductors, low: PointSet) -> str:
    """Say which points read low with nothing driven: by the cavities that the adapter puts them on."""
    numbers = f"point {_numbers(low)}"
    named = first_of(given.names[point] for point in points_of(low) if point in given.names)
    reads = "reads" if low.bit_count() == 1 else "read"
    return f"{f'{named} ({numbers})' if named else numbers} {reads} low with nothing driven"


def _empty(bench: Bench) -> PointSet:
    """Return the points that read low with nothing driven, given time to rise where some are low at first."""
    (low,) = bench.sense([0])
    if low:
        bench.set_settle(max(SLOWEST_US, bench.capabilities().settle_min_us))
        (low,) = bench.sense([0])
    return low


def _rises(bench: Bench, net: PointSet) -> bool:
    """Find and set a settle time after which a net that was driven reads high again; whether there is one."""
    settle_us = bench.capabilities().settle_min_us
    first = net & -net
    while settle_us <= SLOWEST_US:
        bench.set_settle(settle_us)
        if bench.sense([first, 0, first, 0])[1::2] == [0, 0]:
            bench.set_settle(2 * settle_us)
            return True
        settle_us *= 2
    return False


def _by_meter(
    able: Capabilities, given: Conductors, meter_v: float | None, limit_v: float, low: PointSet
) -> Check:
    asked = meter_words(given)
    if low:
        text = (
            f"this bench measures no voltage, and {given.named(low)} (point {_numbers(low)}) reads low with "
            "nothing driven: a voltage on the loom, a stuck input, or a path to the scanner's 0 V. Read it "
            f"with a {asked}"
        )
        return Check("voltage", False, text)
    if meter_v is None:
        text = (
            "this bench cannot measure a voltage on the loom: read it with a meter, and give the largest "
            f"reading. Battery off, then {asked}"
        )
        return MeterWanted("voltage", False, text)
    text = f"{meter_v:g} V by a person's meter (limit {limit_v:g} V)"
    if able.sense_ohm is not None:
        text += f"; with nothing driven this bench itself shows {_shown(able, given)}"
    return Check("voltage", True, text)


def _shown(able: Capabilities, given: Conductors) -> str:
    """Say from which voltage on the empty drive shows a source, between equals and at worst, and what
    of a source that is weaker nobody has looked for: it is told once several points are driven, or never."""
    t = able.test_voltage_v
    worst = _most_unlike(given)
    at_worst = f"{t * (1 + worst):.3g} V at worst"
    return (
        f"a source from {2 * t:g} V on between conductors of equal size, from {at_worst}; for a weaker one "
        "where no meter was held, nobody has looked"
    )


def _most_unlike(given: Conductors) -> float:
    """Return the largest ratio of the points of two conductors of which one may hold a source."""
    sizes = [net.bit_count() for net in given.nets]
    order = sorted(range(len(sizes)), key=sizes.__getitem__)
    worst = 1.0
    for suspect in given.suspects:
        for other in {*order[:2], *order[-2:]} - {suspect}:
            worst = max(worst, sizes[suspect] / sizes[other], sizes[other] / sizes[suspect])
    return worst


def _voltages(bench: Bench, given: Conductors, meter_v: float | None, limit_v: float, low: PointSet) -> Check:
    able = bench.capabilities()
    most = max(1, int(VOLT_TIME_S / (able.reading_ms / 1000.0 + ROUND_TRIP_S)))
    pairs = given.pairs()
    worst, place, read = 0.0, "", 0
    for a, b in islice(pairs, most):
        one, two = (given.nets[i] & -given.nets[i] for i in (b, a))
        volts = bench.voltage(one, two)
        read += 1
        if abs(volts) > abs(worst):
            p, q = one.bit_length(), two.bit_length()
            worst, place = volts, f" at point {p} against point {q}"
            if p in given.names and q in given.names:
                place += f" ({given.names[p]} against {given.names[q]})"
        if abs(worst) > limit_v:
            break
    by_meter = "" if meter_v is None else f"; {meter_v:g} V by a person's meter"
    text = f"largest {worst:.3g} V{place}{by_meter} (limit {limit_v:g} V)"
    if abs(worst) > limit_v:
        return Check("voltage", False, f"{text}: {SOURCES}")
    text = f"{read} pairs of conductors read with nothing driven: {text}"
    if (left := given.pair_count - most) > 0:
        told = first_of((f"{given.spot(b)} against {given.spot(a)}" for a, b in pairs), count=left)
        text += f"; not read within {VOLT_TIME_S:g} s, and for your meter: {told}"
    if low:
        text += f"; {given.named(low)} reads low with nothing driven, and no voltage explains it"
    return Check("voltage", True, text)


def _odd_pairs(given: Conductors, low_of: Mapping[int, PointSet]) -> dict[tuple[int, int], bool]:
    """Return, once for each two conductors and direction, points of which one pulls the other unexpectedly
    low, and whether the other way round it does as well."""
    home = {point: i for i, net in enumerate(given.nets) for point in points_of(net)}
    everything = sum(given.nets)
    expected_of = list(given.nets)
    for other, pulled_by in enumerate(given.reach):
        for mine in pulled_by:
            expected_of[mine] |= given.nets[other]
    found: dict[tuple[int, int], bool] = {}
    seen: set[tuple[int, int]] = set()
    for point, low in low_of.items():
        mine = home[point]
        expected = expected_of[mine]
        for other in points_of(low & ~expected & everything):
            turned = bool(low_of.get(other, 0) >> (point - 1) & 1)
            ways = {(mine, home[other]), (home[other], mine)} if turned else {(mine, home[other])}
            if not ways & seen:
                seen |= ways
                found[point, other] = turned
    return found


def _numbers(points: PointSet) -> str:
    return first_of(str(point) for point in points_of(points))
