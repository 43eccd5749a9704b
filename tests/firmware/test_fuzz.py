"""Every seed and every find of the fuzzers, once, with the sanitizers on."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.firmware.building import FUZZ_TARGETS, HERE, fuzzers, includes, run

pytestmark = pytest.mark.skipif(not shutil.which("clang"), reason="clang is not installed (Debian: clang)")


@pytest.mark.parametrize("target", [name.lower() for name in FUZZ_TARGETS])
def test_seeds_and_finds_do_no_harm(target: str) -> None:
    inputs: list[str | Path] = []
    for folder in ("fuzz_seeds", "fuzz_finds"):
        inputs += sorted((HERE / folder / target).glob("*"))
    assert inputs
    run([fuzzers() / target, *inputs])


def test_a_core_that_breaks_its_word_is_found_out(tmp_path: Path) -> None:
    """The same harness on a core whose sets are one point off."""
    source = (HERE.parents[1] / "firmware_notes" / "reference_scanner" / "core" / "scan.c").read_text()
    wrong = tmp_path / "scan.c"
    wrong.write_text(source.replace("read.byte[i] & mine", "(read.byte[i] << 1) & mine"))
    folder = fuzzers()
    objects = [path for path in sorted(folder.glob("*.o")) if path.stem != "scan"]
    flags = ["-std=c11", "-g", *includes(), "-Wno-unused-function", "-DTARGET=SCAN"]
    guards = "-fsanitize=fuzzer,address,undefined"
    run(["clang", *flags, guards, HERE / "fuzz.c", wrong, *objects, "-lm", "-o", tmp_path / "scan"])
    seeds = sorted((HERE / "fuzz_seeds" / "scan").glob("*"))
    with pytest.raises(AssertionError, match="libFuzzer: deadly signal"):
        run([tmp_path / "scan", *seeds])
