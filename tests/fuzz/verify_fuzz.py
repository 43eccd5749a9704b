"""Damage records and certificates at random and hand them to the check: none may pass, none may crash.

    python -m tests.fuzz verify_fuzz [--short] [--seed 1] [--seconds 600]

Damage is cut out, put in, copied about or overwritten, also inside the signature; and, against the reader
behind the seal, nonsense is sealed and signed anew with a key of the fuzzer's own.
"""

from __future__ import annotations

import argparse
import copy
import datetime
import io
import json
import os
import platform
import random
import sys
import time
from collections import Counter
from pathlib import Path

from rich.console import Console

from loomproof.errors import LoomproofError, SealError
from loomproof.records.canonical import canonical, sha256_hex
from loomproof.records.keys import Signer, new_signer
from loomproof.records.pdf_signature import sign_pdf
from loomproof.records.seal import Chain, seal
from loomproof.records.verify_file import check
from loomproof.reports.certificate import certificate_pdf
from loomproof.reports.terminal import findings_view, summary_view
from loomproof.results.document import Verdict
from tests.reports.sample import document

RESULT = Path(__file__).parent / "results" / "verify_fuzz.md"
NOW = datetime.datetime(2026, 1, 5, 10, 15, tzinfo=datetime.UTC)
WORDS = [
    b"/ByteRange [0 1 2 3]",
    b"<<",
    b">>",
    b"<",
    b">",
    b"/Contents <",
    b"%%EOF",
    b"endobj",
    b"null",
    b'"',
    b"{",
]
VALUES: list[object] = [
    None,
    True,
    -1,
    0,
    1e308,
    "",
    "x" * 999,
    "\x00\u202e",
    [],
    {},
    [[]],
    {"a": {}},
    2**53 - 1,
]


def damaged(data: bytes, rng: random.Random) -> bytes:
    """Return the bytes with one to three damages."""
    made = bytearray(data)
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(len(made) + 1)
        to = min(len(made), at + rng.choice([1, 2, 16, 400, 8000]))
        how = rng.randrange(5)
        if how == 0:
            del made[at:to]
        elif how == 1:
            made[at:at] = rng.choice(WORDS)
        elif how == 2:
            made[at:to] = rng.randbytes(to - at)
        elif how == 3:
            start = rng.randrange(len(made) + 1)
            made[start:start] = made[at:to]
        elif at < len(made):
            made[at] ^= 1 << rng.randrange(8)
    return bytes(made)


def nonsense(record: bytes, signer: Signer, rng: random.Random) -> bytes:
    """Return a record with values put where they do not belong, sealed properly."""
    plain = json.loads(record)
    for _ in range(rng.randint(1, 3)):
        place = plain["body"] if rng.random() < 0.1 else plain["body"]["document"]
        while isinstance(place, dict | list):
            keys = list(place) if isinstance(place, dict) else list(range(len(place)))
            if not keys:
                break
            key = rng.choice(keys)
            if isinstance(place[key], dict | list) and place[key] and rng.random() < 0.8:
                place = place[key]
                continue
            place[key] = copy.deepcopy(rng.choice(VALUES))
            break
    text = canonical(plain["body"])
    plain["hash"] = sha256_hex(text)
    plain["seal"]["signature"] = signer.sign(text).hex()
    return canonical(plain)


def attempt(data: bytes) -> str:
    """Check one file and show its document; anything but a refusal with a message comes out."""
    try:
        made = check(data, {}, "fuzz").document()
        screen = Console(file=io.StringIO(), width=80)
        screen.print(summary_view(made, cautions=True), findings_view(made))
    except SealError as error:
        if not error.message.strip():
            raise AssertionError("an empty message") from error
        return "refused"
    return "intact"


def main(argv: list[str] | None = None) -> int:
    """Fuzz for some seconds (or rounds), write the table, return 1 where there was a find."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="a few hundred files")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=600)
    arguments = parser.parse_args(argv)
    rng = random.Random(arguments.seed)
    signer = new_signer(NOW)
    record = seal(document(wires=3, verdict=Verdict.FAIL).plain(), Chain("b", 1), signer)
    pdf = sign_pdf(certificate_pdf(record, fingerprint=signer.fingerprint), signer, NOW)
    kinds = {"record damaged": record, "certificate damaged": pdf, "nonsense, sealed": b""}
    counts: Counter[tuple[str, str]] = Counter()
    finds: list[str] = []
    slowest = 0.0
    rounds, end = 0, time.monotonic() + arguments.seconds
    while rounds < 100 if arguments.short else time.monotonic() < end:
        rounds += 1
        for kind, original in kinds.items():
            data = damaged(original, rng) if original else nonsense(record, signer, rng)
            if data == original:
                continue  # the damage undid itself
            begun = time.perf_counter()
            try:
                outcome = attempt(data)
                if original and outcome == "intact":
                    finds.append(f"{kind}, round {rounds}: it passed")
            except (Exception, LoomproofError) as error:
                outcome = "find"
                finds.append(f"{kind}, round {rounds}: {type(error).__name__}: {error}")
            slowest = max(slowest, time.perf_counter() - begun)
            counts[kind, outcome] += 1
    lines = [
        "# Damaged records and certificates",
        "",
        f"{datetime.date.today()}, `python -m tests.fuzz verify_fuzz --seed {arguments.seed} "
        f"--seconds {arguments.seconds:.0f}` ({os.cpu_count()} cores, Python {platform.python_version()})",
        "",
        "| file | refused with a message | intact | finds |",
        "| --- | ---: | ---: | ---: |",
        *(f"| {k} | {counts[k, 'refused']} | {counts[k, 'intact']} | {counts[k, 'find']} |" for k in kinds),
        "",
        f"Slowest file: {slowest:.2f} s. Nonsense that still is a document of this schema is intact, by a "
        "signer that nobody knows.",
        *(f"- {find}" for find in finds[:20]),
    ]
    text = "\n".join(lines) + "\n"
    print(text)
    if not arguments.short:
        RESULT.parent.mkdir(exist_ok=True)
        RESULT.write_text(text, encoding="utf-8")
    return int(bool(finds))


if __name__ == "__main__":
    sys.exit(main())
