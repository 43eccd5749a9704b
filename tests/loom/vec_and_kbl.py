"""One random loom written as VEC and as KBL 2.4, each by the tests' own small writer: see `both`."""

from __future__ import annotations

import random
from dataclasses import dataclass

from tests.loom import kbl_text
from tests.loom.vec_text import Vec


@dataclass(frozen=True)
class Conductor:
    """A conductor of the truth: its ends are cavities, or a splice with an empty cavity."""

    name: str
    area: float
    colours: tuple[str, ...]
    length_mm: int
    signal: str
    ends: tuple[tuple[str, str], tuple[str, str]]


def conductor(rng: random.Random, number: int, ends: tuple[tuple[str, str], tuple[str, str]]) -> Conductor:
    """A conductor with facts by chance."""
    return Conductor(
        str(number),
        rng.choice([0.35, 0.5, 1.5]),
        rng.choice([("RD",), ("BK", "WH"), ("GN", "YE")]),
        rng.randint(50, 4000),
        rng.choice(["", "V.15.A", "M.31.B"]),
        ends,
    )


def cables(rng: random.Random) -> tuple[dict[str, list[str]], list[str], list[tuple[str, list[Conductor]]]]:
    """Plugs with cavities, splices, and cables by kind: ``single``, ``twisted``, ``screened``.

    The last conductor of a screened cable is its screen.
    """
    plugs = {f"X{n}": [str(c) for c in range(1, rng.randint(2, 7))] for n in range(1, rng.randint(3, 7))}
    splices = [f"S{n}" for n in range(rng.randint(0, 2))]
    free = [(name, cavity) for name, cavities in plugs.items() for cavity in cavities]
    rng.shuffle(free)
    made: list[tuple[str, list[Conductor]]] = []
    number = 0
    while len(free) > 1:
        kind = rng.choice(("single", "single", "twisted", "screened"))
        count = min({"single": 1, "twisted": 2, "screened": rng.randint(2, 4)}[kind], len(free) // 2)
        kind = kind if count > 1 else "single"
        cores = []
        for _ in range(count):
            number += 1
            a, b = free.pop(), free.pop()
            b = (rng.choice(splices), "") if splices and rng.random() < 0.3 else b
            cores.append(conductor(rng, number, (a, b)))
        made.append((kind, cores))
    return plugs, splices, made


def both(seed: int) -> tuple[bytes, bytes]:
    """Return the same random loom as VEC and as KBL."""
    plugs, splices, made = cables(random.Random(f"vec and kbl/{seed}"))
    return as_vec(plugs, splices, made), as_kbl(plugs, splices, made)


def as_vec(plugs: dict[str, list[str]], splices: list[str], made: list[tuple[str, list[Conductor]]]) -> bytes:
    """Return the loom as VEC."""
    file = Vec()
    for name, cavities in plugs.items():
        file.housing(name, *cavities)
    for name in splices:
        file.terminal(name, splice=True)
    for kind, cores in made:
        listed = [
            (
                core.name,
                core.area,
                "/".join(core.colours),
                core.length_mm / 1000,
                core.signal,
                tuple(f"{c}.{p}" if p else f"{c}.t" for c, p in core.ends),
            )
            for core in cores
        ]
        screen = cores[-1].name if kind == "screened" else ""
        file.cable(f"C{cores[0].name}", listed, screen=screen, twisted=kind == "twisted")
    return file.bytes()


def as_kbl(plugs: dict[str, list[str]], splices: list[str], made: list[tuple[str, list[Conductor]]]) -> bytes:
    """Return the loom as KBL."""
    parts = [kbl_text.housing(f"h{name}", *cavities) for name, cavities in plugs.items()]
    parts += [kbl_text.housing(f"h{name}", "1") for name in splices]
    wires, connections = [], []
    for kind, cores in made:
        for core in cores:
            of = "" if kind == "single" else f"o{core.name}"
            contacts = (f"{c}.{p or '1'}" for c, p in core.ends)
            connections.append(kbl_text.connection(core.name, *contacts, signal=core.signal, of=of))
        if kind == "single":
            (core,) = cores
            parts.append(kbl_text.wire_part(f"p{core.name}", *core.colours, area=core.area))
            wires.append(kbl_text.wire(core.name, kbl_text.length(core.length_mm), of=f"p{core.name}"))
            continue
        name = f"C{cores[0].name}"
        types = ["twist" if kind == "twisted" else ""] * len(cores)
        types[-1] = "shield" if kind == "screened" else types[-1]
        listed = "".join(
            f'<Core id="p{core.name}"><Id>{core.name}</Id>'
            + (f"<Wire_type>{said}</Wire_type>" if said else "")
            + kbl_text.value("Cross_section_area", core.area, "mm2")
            + f"{kbl_text.colour('Core_colour', *core.colours)}</Core>"
            for core, said in zip(cores, types, strict=True)
        )
        cover = kbl_text.colour("Cover_colour", "/NULL")
        parts.append(f'<General_wire id="p{name}">{kbl_text.part()}{listed}{cover}</General_wire>')
        placed = "".join(
            f'<Core_occurrence id="o{core.name}"><Wire_number>{core.name}</Wire_number>'
            f"<Part>p{core.name}</Part>{kbl_text.length(core.length_mm)}</Core_occurrence>"
            for core in cores
        )
        wires.append(
            f'<General_wire_occurrence xsi:type="kbl:Special_wire_occurrence" id="w{name}"><Part>p{name}'
            f"</Part>{kbl_text.length(cores[0].length_mm)}<Special_wire_id>{name}</Special_wire_id>{placed}"
            "</General_wire_occurrence>"
        )
    body = [kbl_text.connector(name, f"h{name}", *cavities) for name, cavities in plugs.items()]
    body += [kbl_text.connector(name, f"h{name}", "1", usage="splice") for name in splices]
    return kbl_text.file("".join(parts), "".join(connections + body + wires))
