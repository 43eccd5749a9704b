"""Feed damaged folders, workbooks and lists to the readers; only the project's own errors may come out.

    python tests/fuzz/loom_fuzz.py [--short] [--seed 1] [--seconds 600]

Mutates the bytes of files, the parts inside a workbook's archive, and the cells of tables. What still
reads must survive being written and read again. A find is kept in tests/fuzz/finds/ under a name that
`tests/loom/test_fuzz_finds.py` reads; exits with 1 where there was one.
"""

from __future__ import annotations

import argparse
import csv
import datetime
import hashlib
import io
import os
import platform
import random
import sys
import time
import traceback
import zipfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from loomproof.errors import InputError  # noqa: E402  (run as a script, the path is set first)
from loomproof.loom.lists.questions import Answers  # noqa: E402
from loomproof.loom.lists.reading import understand  # noqa: E402
from loomproof.loom.reading import load_files, load_workbook  # noqa: E402
from loomproof.loom.writing import folder_files, workbook_bytes  # noqa: E402

FINDS = Path(__file__).parent / "finds"
RESULT = Path(__file__).parent / "results" / "loom_fuzz.md"

TOKENS = (
    b'"', b'""', b",", b";", b"\t", b"\n", b"\r\n", b"\r", b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\x1a",
    b"\xc3\x28", b"\xed\xa0\x80", b"=1+1", b"01", b"1-999999", b"1-16 / 17-32", b" / ", b"A=K1:86",
    b"1E999", b"-1", b"nan", b"inf", b"1" * 400, b"A" * 40_000, b"[loom]", b"[[choice]]", b"name = ",
    b"{", b"}", b"'''", b"\\u0000", b"\\ud800", b"1e400", b"9" * 30, b"\xe2\x80\xa8", b"\xc2\xa0",
    b"<!DOCTYPE a>", b'r="A1048577"', b'r="0"', b"t=\"s\"", b'<c r="XFE1"/>', b"<v>99999</v>",
    b"_x0000_", b"wire", b"BODY", b"EARTH",
)  # fmt: skip


LISTS = (
    b"Connector,Pin,Connector,Pin,Farbe,Length,Twisted\nX1,2-4,X2,5-7,rt,120,P1\nX1,NC,X2,1,sw,3,P1\n,5,X2,8,,,\n",
    b"#,Device,Endpoint,Signal\n1,BOX,A.1,GND\n,FAN,B.2,\n,FAN,3,\n2,BOX,A.2,12V\n,LAMP,-,\n",
    b'LCD Pin,Signal,MCU Pin\n1,A,3.3V\n2,B,--\n"3, 4",C,"5, 6"\n7/8,D,x\n',
    b"Pin,Colour,Function\n1,RED,feed\n2,BLK/WHT,earth\n",
)
MARKDOWN = b"""# Loom
## Plug 1
| From | From Pin | To | To Pin | Wire Color |
|---|:--:|---|---|---|
| ECU | 3W-3Z | BOX<br>2 | B6, B5, B4, B3 | L/R |
| ECU | 9 | SP1 |  | GY |
| SP1 |  | G404(s) |  | -- |
"""
NETLIST = b"""(export (version "E") (components (comp (ref "J1") (value "plug")))
 (nets (net (code "1") (name "/GND") (node (ref "J1") (pin "1") (pinfunction "A\\"b"))
  (node (ref J2) (pin 2)))
  (net (code 2) (name "X") (node (ref J1) (pin 3)) (node (ref J3) (pin 1)) (node (ref J4) (pin 1)))))
"""


def folder_of(name: str) -> dict[str, bytes]:
    """Return the files of a loom of the fixtures."""
    return {path.name: path.read_bytes() for path in sorted((ROOT / "fixtures" / name).iterdir())}


def mutated(data: bytes, rng: random.Random) -> bytes:
    """Return the bytes with a few of them changed, cut, doubled or replaced by what readers dislike."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 3, 8))):
        at = rng.randrange(len(out) + 1)
        length = rng.choice((1, 1, 2, 5, 20, 200))
        match rng.randrange(6):
            case 0 if out:
                out[min(at, len(out) - 1)] = rng.randrange(256)
            case 1:
                del out[at : at + length]
            case 2:
                out[at:at] = out[at : at + length]
            case 3:
                out[at : at + rng.choice((0, 0, length))] = rng.choice(TOKENS)
            case 4:
                out[at:at] = rng.randbytes(min(length, 8))
            case _:
                other = rng.randrange(len(out) + 1)
                out[at : at + length] = out[other : other + length]
    return bytes(out)


def mutated_cells(data: bytes, rng: random.Random) -> bytes:
    """Return a CSV file with some of its cells replaced by others of it or by what readers dislike."""
    rows = list(csv.reader(io.StringIO(data.decode())))
    cells = [(y, x) for y, row in enumerate(rows) for x in range(len(row))]
    for _ in range(rng.choice((1, 2, 4))):
        y, x = rng.choice(cells)
        other = rng.choice(cells)
        token = rng.choice(TOKENS).decode(errors="replace")
        rows[y][x] = rng.choice((rows[other[0]][other[1]], token, rows[y][x] + token, ""))
    if rng.random() < 0.2:
        rng.shuffle(rows)
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    return out.getvalue().encode(errors="replace")


def mutated_archive(data: bytes, rng: random.Random) -> bytes:
    """Return a workbook with the content of one of its parts mutated and packed again."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as source,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        names = source.namelist()
        victim = rng.choice([name for name in names if "sheet" in name] if rng.random() < 0.7 else names)
        for name in names:
            content = source.read(name)
            target.writestr(name, mutated(content, rng) if name == victim else content)
    return out.getvalue()


def try_folder(files: dict[str, bytes]) -> str:
    """Read a folder; what reads must survive both ways of being written."""
    loom = load_files(files, "fuzz").loom
    assert load_files(folder_files(loom), "fuzz").loom == loom
    assert load_workbook(workbook_bytes(loom), "fuzz.xlsx").loom == loom
    return "read"


def try_workbook(data: bytes) -> str:
    """Read a workbook; what reads must survive being written."""
    loom = load_workbook(data, "fuzz.xlsx").loom
    assert load_workbook(workbook_bytes(loom), "fuzz.xlsx").loom == loom
    return "read"


def try_list(data: bytes, name: str) -> str:
    """Make a loom of a list, as it is and with every question answered; what is made must survive writing."""
    outcome = "refused"
    for said in (
        {},
        {"ranges": "expand", "blank": "above", "pinless": "own", "joints": "own", "twice": "joined"},
    ):
        reading = understand(data, name, answers=Answers(said=said))
        assert all(
            str(text).strip().encode() for text in (*reading.problems, *reading.notes, *reading.left_out)
        )
        if reading.loom is not None:
            assert load_files(folder_files(reading.loom), "fuzz").loom == reading.loom
            outcome = "read"
    return outcome


def attempt(kind: str, name: str, data: bytes) -> str:
    """Try one damaged input. Returns ``read`` or ``refused``; lets anything but an `InputError` through."""
    try:
        if kind == "folder":
            return try_folder(folder_of("tail_lamp") | {name: data})
        if kind == "workbook":
            return try_workbook(data)
        return try_list(data, name)
    except InputError as error:
        # The message is for people: it must be there, and it must be printable as UTF-8.
        said = [error.message, *(str(problem) for problem in error.problems)]
        if not all(text.strip().encode() for text in said):
            raise AssertionError(f"an empty message among {said}") from error
        return "refused"


def inputs() -> list[tuple[str, Callable[[random.Random], tuple[str, bytes]]]]:
    """Return the kinds of input and what makes one."""
    files = folder_of("tail_lamp")
    engine = folder_of("hillclimb_engine")
    book = workbook_bytes(load_files(files, "tail").loom)
    choices = workbook_bytes(load_files(engine, "engine").loom)
    tables = [name for name in files if name.endswith(".csv")]
    plain = b"From Pin,To Pin,Colour,Size mm2\nECU:01,C2:1A,RD/WH,0.5\nECU:1,S1,BK,0.5\nS1,GND,BN,1.0\n"

    def folder_bytes(rng: random.Random) -> tuple[str, bytes]:
        name = rng.choice(sorted(files))
        return name, mutated(engine[name] if name == "loom.toml" and rng.random() < 0.5 else files[name], rng)

    def folder_cells(rng: random.Random) -> tuple[str, bytes]:
        name = rng.choice(tables)
        return name, mutated_cells(files[name], rng)

    return [
        ("folder", folder_bytes),
        ("folder", folder_cells),
        ("workbook", lambda rng: ("fuzz.xlsx", mutated(book, rng))),
        (
            "workbook",
            lambda rng: ("fuzz.xlsx", mutated_archive(choices if rng.random() < 0.1 else book, rng)),
        ),
        ("list", lambda rng: ("fuzz.csv", mutated(plain, rng))),
        ("list", lambda rng: ("fuzz.csv", mutated_cells(plain, rng))),
        ("list", lambda rng: ("fuzz.csv", mutated_cells(rng.choice(LISTS), rng))),
        ("list", lambda rng: ("fuzz.markdown", mutated(MARKDOWN, rng))),
        ("netlist", lambda rng: ("fuzz.net", mutated(NETLIST, rng))),
        ("list", lambda rng: ("fuzz.xlsx", mutated_archive(book, rng))),
    ]


def keep(kind: str, name: str, data: bytes) -> Path:
    """Keep a find where the tests read it."""
    FINDS.mkdir(exist_ok=True)
    path = FINDS / f"{hashlib.sha256(data).hexdigest()[:12]}.{kind}.{name}"
    path.write_bytes(data)
    return path


def main(argv: list[str] | None = None) -> int:
    """Fuzz for some seconds (or rounds), write the table, return 1 where there was a find."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="a fixed few hundred inputs")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=600)
    arguments = parser.parse_args(argv)
    rng = random.Random(arguments.seed)
    counts: Counter[tuple[str, str]] = Counter()
    finds: list[str] = []
    slowest = (0.0, "")
    kinds = inputs()
    end = time.monotonic() + arguments.seconds
    rounds = 0
    while rounds < 60 if arguments.short else time.monotonic() < end:
        rounds += 1
        for kind, make in kinds:
            name, data = make(rng)
            start = time.monotonic()
            try:
                outcome = attempt(kind, name, data)
            except Exception:
                outcome = "find"
                finds.append(f"{keep(kind, name, data).name}\n{traceback.format_exc(limit=-3)}")
            slowest = max(slowest, (time.monotonic() - start, f"{kind} {name}"))
            counts[kind, outcome] += 1
    lines = [
        "# Damaged descriptions",
        "",
        f"{datetime.date.today()}, `python -m tests.fuzz.loom_fuzz --seed {arguments.seed} "
        f"{'--short' if arguments.short else f'--seconds {arguments.seconds:g}'}` "
        f"({os.cpu_count()} cores, Python {platform.python_version()})",
        "",
        "| input | refused with a message | read, and survived writing | finds |",
        "| --- | ---: | ---: | ---: |",
        *(
            f"| {kind} | {counts[kind, 'refused']} | {counts[kind, 'read']} | {counts[kind, 'find']} |"
            for kind in dict.fromkeys(kind for kind, _ in kinds)
        ),
        "",
        f"Slowest input: {slowest[0]:.2f} s ({slowest[1]}).",
    ]
    text = "\n".join(lines) + "\n"
    print(text)
    for find in finds[:10]:
        print(find)
    if not arguments.short:
        RESULT.parent.mkdir(exist_ok=True)
        RESULT.write_text(text)
    return int(bool(finds))


if __name__ == "__main__":
    sys.exit(main())
