"""Hypothesis on bytes and on tables: the readers may refuse, with a reason, and nothing else.

Any loom, drawn whole, survives folder and workbook.

    python -m tests.fuzz loom_hypothesis [--short] [--seed 1] [--seconds 600]

Rounds of examples, each with its own seed, until the time is over. A failing example is shrunk and
printed by hypothesis; exits with 1 where there was one.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from loomproof.errors import InputError
from loomproof.loom.reading import load_files, load_workbook
from loomproof.loom.writing import folder_files, workbook_bytes
from tests.loom.strategies import looms
from tests.loom.test_round_trip import survives
from tests.results import table_file

FIXTURE = Path(__file__).resolve().parents[2] / "fixtures" / "tail_lamp"
FILES = {path.name: path.read_bytes() for path in sorted(FIXTURE.iterdir())}
TABLES = sorted(name for name in FILES if name.endswith(".csv"))
WORKBOOK = workbook_bytes(load_files(FILES, "tail_lamp").loom)

CELLS = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        ["", "01", "1", "1-3 / 4-6", "BODY", "LAMP", "S1", "A=K:1 K=K:2", "1e400", "=1+1", "nan"]
    ),
)


@st.composite
def edited(draw: st.DrawFn, data: bytes) -> bytes:
    """Draw a few cuts of the bytes, each replaced by others."""
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(data)))
        until = min(len(data), at + draw(st.integers(0, 30)))
        data = data[:at] + draw(st.binary(max_size=20)) + data[until:]
    return data


@st.composite
def folders(draw: st.DrawFn) -> dict[str, bytes]:
    """Draw a folder whose files are edited as bytes, or one of whose tables is made of drawn cells."""
    files = dict(FILES)
    if draw(st.booleans()):
        name = draw(st.sampled_from(sorted(files)))
        files[name] = draw(edited(files[name]))
    else:
        name = draw(st.sampled_from(TABLES))
        head, *rows = [line.split(b",") for line in files[name].splitlines()]
        for row in rows or [[b""] * len(head)]:
            for column in draw(st.lists(st.integers(0, len(head) - 1), max_size=3)):
                if column < len(row):
                    row[column] = draw(CELLS).encode("utf-8", "surrogatepass")
        files[name] = b"\n".join(b",".join(row) for row in [head, *rows]) + b"\n"
    return files


def try_folder(files: dict[str, bytes]) -> None:
    """Read a folder; what reads must be written and read again alike."""
    try:
        loom = load_files(files, "fuzz").loom
    except InputError:
        return
    assert load_files(folder_files(loom), "again").loom.digest == loom.digest


def try_workbook(data: bytes) -> None:
    """Read a workbook."""
    try:
        load_workbook(data, "fuzz.xlsx")
    except InputError:
        return


def round_of(number: int, examples: int) -> None:
    """Run one round of edited folders and workbooks and of any looms. Raises what hypothesis finds."""
    quiet = settings(
        max_examples=examples,
        deadline=None,
        database=None,
        phases=[Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )
    seed(number)(quiet(given(folders())(try_folder)))()
    seed(number)(quiet(given(edited(WORKBOOK))(try_workbook)))()
    seed(number)(quiet(given(looms())(survives)))()


def main(argv: list[str] | None = None) -> int:
    """Run rounds until the time is over and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float)
    options = parser.parse_args(argv)
    seconds = options.seconds or (10.0 if options.short else 600.0)
    begun = time.monotonic()
    rounds = 0
    while time.monotonic() - begun < seconds:
        round_of(options.seed + rounds, 200)
        rounds += 1
    lines = [
        f"{rounds} rounds of 200 folders, 200 workbooks and 200 looms,",
        f"seeds {options.seed} to {options.seed + rounds - 1}:",
        "no find; what read was written and read again alike, and so was every loom.",
    ]
    table_file("fuzz", "loom_hypothesis", lines, time.monotonic() - begun, short=options.short)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
