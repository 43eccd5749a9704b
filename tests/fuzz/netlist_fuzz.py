"""Feed damaged netlists of electronics design to their reader: read or refused by place, never a traceback.

    python -m tests.fuzz netlist_fuzz [--short] [--seed 1] [--seconds 600]

The netlists are random S-expressions of the documented form. A find is kept in tests/fuzz/finds/, where
`tests/loom/test_fuzz_finds.py` reads it; exits with 1 where there was one, or where a file took more than
five seconds of processor time.
"""

from __future__ import annotations

import random
import re
import sys

from tests.fuzz.damaged_lists import CELLS, fuzz
from tests.fuzz.loom_fuzz import NETLIST, mutated

NAMES = ("J1", "J2", "X10", "U3", "SW1", "R1", "D 4", "K-1", "P1_A")
PIECES = (
    "(",
    ")",
    '"',
    '\\"',
    "\\",
    "(net",
    "(node",
    "(ref",
    "(nets",
    "(pin 1)",
    "(" * 3000,
    ")" * 50,
    ";",
    "#|",
    "|",
)


def text(rng: random.Random, word: str) -> str:
    """Return a word as it may stand: bare, or in quotes."""
    bare = re.fullmatch(r"[A-Za-z0-9_/+.-]+", word)
    return word if bare and rng.random() < 0.5 else '"' + word.replace("\\", "\\\\").replace('"', '\\"') + '"'


def netlist(rng: random.Random) -> str:
    """Return a netlist with some parts and nets, now and then with nothing in one."""
    parts = rng.sample(NAMES, rng.randint(1, 6))
    lines = ['(export (version "E")', " (design (source a.sch) (tool x))", " (components"]
    lines += [f"  (comp (ref {text(rng, part)}) (value {text(rng, 'plug')}))" for part in parts]
    lines.append(" ) (nets")
    for code in range(rng.randint(0, 12)):
        name = rng.choice(("/GND", "+12V", "Net-(J1-Pad2)", "unconnected-(J2-Pin_3)", "", "A B", "Ω"))
        nodes = [
            f"(node (ref {text(rng, rng.choice(parts))}) (pin {text(rng, str(rng.randint(1, 30)))})"
            + (f" (pinfunction {text(rng, 'IN')})" if rng.random() < 0.3 else "")
            + ")"
            for _ in range(rng.choice((0, 1, 2, 2, 2, 3, 9)))
        ]
        lines.append(f"  (net (code {text(rng, str(code))}) (name {text(rng, name)}) {' '.join(nodes)})")
    return "\n".join([*lines, " ))"])


def damaged(rng: random.Random) -> tuple[str, bytes]:
    """Return one damaged netlist with its name."""
    content = NETLIST if rng.random() < 0.1 else netlist(rng).encode()
    if rng.random() < 0.4:
        content = mutated(content, rng)
    else:
        written = content.decode()
        for _ in range(rng.choice((0, 1, 1, 2, 5))):
            places = [match.span() for match in re.finditer(r"[()]|\"[^\"]*\"|[^\s()\"]+", written)]
            start, end = rng.choice(places)
            written = written[:start] + rng.choice((*PIECES, *CELLS, "")) + written[end:]
        content = written.encode(errors="replace")
    return rng.choice(("fuzz.net", "fuzz.net", "fuzz.txt")), content


def main(argv: list[str] | None = None) -> int:
    """Fuzz for the time given; return 1 where something was found."""
    return fuzz("netlist", damaged, argv, __doc__)


if __name__ == "__main__":
    sys.exit(main())
