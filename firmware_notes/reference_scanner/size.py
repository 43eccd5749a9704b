"""Prints flash, static RAM and the deepest stack of a built firmware; exit code 1 over 80 % of its share.

The stack is that of the deepest way through the call graph from ``main``, and on top of it the deepest
interrupt, which the chip does not nest; with ``--nests`` the next deepest on top of that, for a kind of
scanner whose watch lets others in. Frames are the compiler's own figures (``.su``), and for library
functions what their code pushes. Recursion and calls through pointers have no bound, and are errors.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
from pathlib import Path

RETURN_BYTES = 3
"""What a call leaves on the stack of a part with over 128 KiB of flash."""

SHARE = 0.8

_FUNCTION = re.compile(r"^[0-9a-f]+ <([^>]+)>:$")
_CALL = re.compile(r"\t(?:call|rcall|jmp|rjmp)\t.*<([^>+]+)>")
_FRAME = re.compile(r"\t(?:sbiw\tr28, 0x([0-9A-Fa-f]+)|subi\tr28, 0x([0-9A-Fa-f]+))")


class Unbounded(Exception):  # noqa: N818
    """The stack has no bound, and why."""


def frames(folder: Path) -> dict[str, int]:
    """Read the compiler's figures, bytes by function."""
    found: dict[str, int] = {}
    for path in folder.rglob("*.su"):
        for line in path.read_text().splitlines():
            place, size, kind = line.split("\t")
            if kind != "static":
                raise Unbounded(f"{place} has a stack of {kind} size")
            name = place.rsplit(":", 1)[1]
            found[name] = max(int(size), found.get(name, 0))
    return found


def call_graph(disassembly: str) -> tuple[dict[str, set[str]], dict[str, int]]:
    """Return who calls whom, and how much each function's own code pushes."""
    calls: dict[str, set[str]] = {}
    pushed: dict[str, int] = {}
    name = ""
    for line in disassembly.splitlines():
        if match := _FUNCTION.match(line):
            name = match[1]
            calls[name], pushed[name] = set(), 0
        elif "\tpush\t" in line:
            pushed[name] += 1
        elif "\ticall" in line or "\teicall" in line:
            raise Unbounded(f"{name} calls through a pointer")
        elif (match := _CALL.search(line)) and match[1] != name:
            calls[name].add(match[1])
        elif match := _FRAME.search(line):
            pushed[name] += int(match[1] or match[2], 16)
    return calls, pushed


def deepest(
    name: str, calls: dict[str, set[str]], own: dict[str, int], above: tuple[str, ...] = ()
) -> tuple[int, tuple[str, ...]]:
    """Return the deepest stack from this function on, bytes, and the way there."""
    if name in above:
        raise Unbounded(f"{name} calls itself, by {' > '.join(above)}")
    ways = [deepest(callee, calls, own, (*above, name)) for callee in sorted(calls.get(name, ()))]
    size, way = max(ways, default=(0, ()))
    return size + own.get(name, 0) + RETURN_BYTES, (name, *way)


def main() -> int:
    """Print the figures; return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="the build folder")
    parser.add_argument("--flash", type=int, default=32768, help="bytes of flash that it may have")
    parser.add_argument("--ram", type=int, default=4096, help="bytes of RAM that it may have")
    parser.add_argument("--nests", action="store_true", help="one interrupt may come in another")
    asked = parser.parse_args()
    elf = asked.folder / "scanner.elf"
    text, data, bss = map(int, _say("avr-size", elf).splitlines()[1].split()[:3])
    try:
        calls, pushed = call_graph(_say("avr-objdump", "-d", elf))
        own = {**pushed, **{name: size for name, size in frames(asked.folder).items() if name in calls}}
        stack, way = deepest("main", calls, own)
        interrupts = [deepest(name, calls, own) for name in calls if name.startswith("__vector_")]
        # A stand-in for none, so that there are always two.
        first, second = [*sorted(interrupts, reverse=True), (0, ("none",)), (0, ("none",))][:2]
        interrupt = (first[0] + second[0], first[1] + second[1]) if asked.nests else first
    except Unbounded as why:
        print(f"the stack has no bound: {why}", file=sys.stderr)
        return 1
    flash, ram = text + data, data + bss
    whole = ram + stack + interrupt[0]
    print(f"flash {flash} of {asked.flash} bytes ({flash / asked.flash:.1%})")
    print(f"static RAM {ram} bytes, deepest stack {stack} + {interrupt[0]} bytes in an interrupt")
    print(f"  by {' > '.join(way)}")
    print(f"  and {' > '.join(interrupt[1])}")
    print(f"RAM {whole} of {asked.ram} bytes ({whole / asked.ram:.1%})")
    if flash > SHARE * asked.flash or whole > SHARE * asked.ram:
        print(f"over {SHARE:.0%} of what it may have", file=sys.stderr)
        return 1
    return 0


def _say(*command: str | Path) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


if __name__ == "__main__":
    sys.exit(main())
