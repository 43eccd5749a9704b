"""What the fuzz of both harness formats shares: damage to XML, and the loop that looks for what it breaks."""

from __future__ import annotations

import argparse
import copy
import datetime
import hashlib
import os
import platform
import random
import time
import traceback
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

from lxml import etree

FINDS = Path(__file__).parent / "finds"
RESULTS = Path(__file__).parent / "results"
LONGEST_S = 5.0
"""A file that takes longer counts as a hang."""

WORDS = (
    "",
    "/NULL",
    "0",
    "-1",
    "NaN",
    "INF",
    "1e308",
    "1e-320",
    " ",
    "Slots_1",
    "Cavities_1 Cavities_2",
    "x" * 40_000,
)


def mutated_bytes(content: bytes, rng: random.Random) -> bytes:
    """Return the bytes with a few cut, doubled or replaced."""
    out = bytearray(content)
    for _ in range(rng.choice((1, 2, 5))):
        at, length = rng.randrange(len(out) + 1), rng.choice((1, 3, 30))
        match rng.randrange(3):
            case 0:
                del out[at : at + length]
            case 1:
                out[at:at] = out[at : at + length]
            case _:
                out[at : at + length] = rng.randbytes(rng.choice((1, 4)))
    return bytes(out)


def mutated_tree(root: etree._Element, rng: random.Random) -> bytes:
    """Return the file with a few elements emptied, moved, doubled, taken out or given another's text."""
    tree = copy.deepcopy(root)
    elements = list(tree.iter(etree.Element))[1:]
    for _ in range(rng.choice((1, 1, 2, 4))):
        one, other = rng.choice(elements), rng.choice(elements)
        parent = one.getparent()
        match rng.randrange(5):
            case 0:
                one.text = rng.choice(WORDS)
            case 1:
                one.text = other.text
            case 2 if parent is not None:
                parent.remove(one)
            case 3 if parent is not None:
                twin = copy.deepcopy(one)
                for inner in twin.iter(etree.Element):
                    if "id" in inner.attrib:
                        inner.set("id", f"{inner.get('id')}_{rng.randrange(10**9)}")
                parent.insert(parent.index(one), twin)
            case _:
                references = [
                    e for e in elements if e.text and e.text.strip() in ("Part", other.get("id", ""))
                ]
                rng.choice(references or [one]).text = other.get("id") or other.text
    return etree.tostring(tree)


def fuzz(
    kind: str,
    contents: Sequence[bytes],
    tried: Callable[[bytes], str],
    argv: list[str] | None,
    about: str | None,
    seconds: float,
) -> int:
    """Damage files of a kind (``kbl``, ``vec``) for the time given, and keep the table.

    Returns 1 where one ended otherwise than ``tried`` says, which raises then, or hung.
    """
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("--short", action="store_true", help="ten seconds")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=seconds)
    arguments = parser.parse_args(argv)
    rng = random.Random(arguments.seed)
    roots = [etree.fromstring(content) for content in contents]
    ends: Counter[str] = Counter()
    finds: dict[str, str] = {}
    longest_s = 0.0
    stop = time.monotonic() + (10.0 if arguments.short else arguments.seconds)
    while time.monotonic() < stop:
        which = rng.randrange(len(contents)) if len(contents) > 1 else 0
        tree = rng.random() < 0.7
        damaged = mutated_tree(roots[which], rng) if tree else mutated_bytes(contents[which], rng)
        began = time.monotonic()
        try:
            ends[tried(damaged)] += 1
        except Exception as error:  # whatever comes out is the find
            place = traceback.extract_tb(error.__traceback__)[-1]
            key = f"{type(error).__name__} at {Path(place.filename).name}:{place.lineno}"
            ends["found"] += 1
            if key not in finds:
                name = f"{kind}_{hashlib.sha256(damaged).hexdigest()[:12]}.{kind}"
                FINDS.mkdir(exist_ok=True)
                (FINDS / name).write_bytes(damaged)
                finds[key] = name
        longest_s = max(longest_s, time.monotonic() - began)
    lines = [
        f"# Damaged {kind.upper()} files",
        "",
        f"{datetime.date.today()}, `python -m tests.fuzz.{kind}_fuzz --seed {arguments.seed} "
        f"--seconds {arguments.seconds:g}` ({os.cpu_count()} cores, Python {platform.python_version()})",
        "",
        f"{sum(ends.values())} files: {ends['refused']} refused with a message, {ends['read']} read, written "
        f"and read again, {ends['found']} ended otherwise; the longest took {longest_s:.2f} s.",
        *(f"- {key}: {name}" for key, name in finds.items()),
    ]
    text = "\n".join(lines) + "\n"
    print(text)
    if not arguments.short:
        RESULTS.mkdir(exist_ok=True)
        (RESULTS / f"{kind}_fuzz.md").write_text(text)
    return int(bool(finds) or longest_s > LONGEST_S)
