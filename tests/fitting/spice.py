"""ngspice as an outside judge of voltage drops and of what can be live. Shares no code with what it checks.

Copper of 58 MS/m at 20 °C with 0.00393 /K (IEC publication 28) and the lay factor 1.065. Fuses are nonlinear
sources typed here: cold resistance, and the published drop at rated current (typical data of one maker's
blade fuses; 10 and 40 A seen quoted, the others from memory), growing with the square of the current.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from itertools import product
from pathlib import Path

from loomproof.loom.model import Component, ComponentKind, End, Loom
from tests.joints import blade_ohm, joints_ohm, mated_ohm

FOUND = shutil.which("ngspice")
FUSES = {10.0: (0.00770, 0.109), 15.0: (0.00480, 0.102), 25.0: (0.00252, 0.092)}
CONTACT_OHM = 0.010
SUPPLY_V = 12.0


def nodes_of(loom: Loom) -> dict[End, str]:
    return {end: f"n{k}" for k, end in enumerate(e for c in loom.connectors for e in c.ends)}


def lost_volts(
    loom: Loom,
    sources: Sequence[End],
    loads: Sequence[tuple[End, float]],
    running_c: float,
    left_out: frozenset[str],
) -> dict[End, float]:
    """Return the volts lost from the supply at each load's end, every load on, relays pulled."""
    node, settings = nodes_of(loom), loom.settings
    heat = 1.0 + 0.00393 * (running_c - 20.0)
    lines = ["* a fitted loom"]
    for k, wire in enumerate(loom.wires):
        assert wire.csa_mm2 is not None
        assert wire.length_m is not None
        ohm = 1.065 / 58.0 / wire.csa_mm2 * wire.length_m * heat
        # A sound joint or contact has half of what it may have, as the rule under test says.
        ohm += 0.5 * joints_ohm(settings, wire)
        lines.append(f"Rw{k} {node[wire.a]} {node[wire.b]} {max(ohm, 1e-5):.12g}")
    for k, part in enumerate(loom.components):
        ends = dict(part.terminals)
        if part.name in left_out:
            continue
        if part.kind is ComponentKind.FUSE:
            assert part.rating_a is not None
            cold, drop = FUSES[part.rating_a]
            grows = (drop / part.rating_a - cold) / part.rating_a**2
            a, b = (node[end] for end in part.ends)
            lines.append(f"Vf{k} {a} m{k} 0")
            lines.append(f"Bf{k} m{k} o{k} V = i(Vf{k})*({cold}+{grows:.9g}*i(Vf{k})*i(Vf{k}))")
            lines.append(f"Rf{k} o{k} {b} {blade_ohm(settings, part.rating_a)}")
        elif part.kind is ComponentKind.RELAY and "87" in ends and "30" in ends:
            lines.append(f"Rr{k} {node[ends['30']]} {node[ends['87']]} {_closed_ohm(loom, part)}")
    lines += [f"Vs{k} {node[end]} 0 {SUPPLY_V}" for k, end in enumerate(sources)]
    lines += [f"Ia{k} {node[end]} 0 {amps}" for k, (end, amps) in enumerate(loads)]
    lines += [f"Rg{k} {name} 0 1e9" for k, name in enumerate(node.values())]
    found = _run(lines, [node[end] for end, _ in loads])
    return {end: SUPPLY_V - found[node[end]] for end, _ in loads}


def _closed_ohm(loom: Loom, relay: Component) -> float:
    """Half of the most: a contact of 10 mΩ, 5 mΩ when rated 30 A or more, and both of its seats."""
    pins = sum(mated_ohm(loom, end) for name, end in relay.terminals if name in ("30", "87"))
    return 0.5 * ((0.005 if (relay.rating_a or 0.0) >= 30.0 else 0.010) + pins)


def wire_volts(loom: Loom, ends: Sequence[End], to: End, amps: float, running_c: float) -> float:
    """Return the volts lost in wires alone, from ends joined outside the loom to one that takes it all."""
    node, settings = nodes_of(loom), loom.settings
    heat = 1.0 + 0.00393 * (running_c - 20.0)
    lines = ["* wires of a loom"]
    for k, wire in enumerate(loom.wires):
        assert wire.csa_mm2 is not None
        assert wire.length_m is not None
        ohm = 1.065 / 58.0 / wire.csa_mm2 * wire.length_m * heat
        ohm += 0.5 * joints_ohm(settings, wire)
        lines.append(f"Rw{k} {node[wire.a]} {node[wire.b]} {max(ohm, 1e-5):.12g}")
    lines += [f"Rj{k} outside {node[end]} 1e-9" for k, end in enumerate(ends)]
    lines += [f"Ia {node[to]} outside {amps}", f"Vz {node[to]} 0 0"]
    lines += [f"Rg{k} {name} 0 1e9" for k, name in enumerate(node.values())]
    return _run(lines, ["outside"])["outside"]


def live_ends(loom: Loom, entries: Sequence[End]) -> set[End]:
    """Return the ends that carry voltage when the entries are fed, over every position of every relay."""
    relays = [part for part in loom.components if part.kind is ComponentKind.RELAY]
    return set().union(
        *(
            _live(loom, entries, {relay.name: is_on for relay, is_on in zip(relays, pulled, strict=True)})
            for pulled in product((False, True), repeat=len(relays))
        )
    )


def _live(loom: Loom, entries: Sequence[End], pulled: Mapping[str, bool]) -> set[End]:
    node = nodes_of(loom)
    lines = ["* who is live"]
    lines += [f"Rw{k} {node[wire.a]} {node[wire.b]} 0.1" for k, wire in enumerate(loom.wires)]
    for k, part in enumerate(loom.components):
        lines += _part(k, part, node, pulled)
    lines += [f"Rs{k} {node[end]} supply 0.01" for k, end in enumerate(entries)]
    lines += ["Vs supply 0 12", ".model silicon D(is=1e-12 n=1)"]
    lines += [f"Rg{k} {name} 0 1e6" for k, name in enumerate(node.values())]
    found = _run(lines, list(node.values()))
    return {end for end, name in node.items() if found[name] > 1.0}


def _part(k: int, part: Component, node: Mapping[End, str], pulled: Mapping[str, bool]) -> list[str]:
    ends = {name: node[end] for name, end in part.terminals}
    if part.kind is ComponentKind.DIODE:
        return [f"Dp{k} {ends['A']} {ends['K']} silicon"]
    if part.kind is ComponentKind.RELAY:
        lines = [f"Rc{k} {ends['86']} {ends['85']} 85"]
        to = ends.get("87" if pulled[part.name] else "87a")
        return [*lines, f"Rk{k} {ends['30']} {to} 0.01"] if to else lines
    a, b = (node[end] for end in part.ends)
    return [f"Rp{k} {a} {b} {part.resistance_ohm or 0.01}"]


def _run(lines: list[str], wanted: Sequence[str]) -> dict[str, float]:
    assert FOUND
    names = list(dict.fromkeys(wanted))
    deck = [*lines, ".options reltol=1e-6 itl1=1000", ".control", "set numdgt=12", "op"]
    deck += [f"print v({name})" for name in names]
    deck += ["quit", ".endc", ".end"]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "loom.cir"
        path.write_text("\n".join(deck) + "\n", encoding="utf-8")
        done = subprocess.run(
            [FOUND, "-n", "-b", str(path)], capture_output=True, text=True, check=False, timeout=120
        )
    found = {}
    for line in done.stdout.splitlines():
        if line.startswith("v(") and " = " in line:
            name, _, value = line.partition(" = ")
            found[name[2:-1]] = float(value)
    assert set(names) <= set(found), done.stdout[-1000:] + done.stderr[-1000:]
    return found
