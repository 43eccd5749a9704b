"""Builds the firmware, the emulator around it and the core for this machine; each once for its sources."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[1] / "firmware_notes" / "reference_scanner"
_TOOLS = {
    "gcc-avr": ("avr-gcc", "avr-objcopy", "avr-size"),
    "avr-libc": (),
    "gcc": ("cc", "make"),
}


def missing() -> str:
    """Name the first thing that is not here, of what it takes to build and run the firmware; else nothing."""
    for package, tools in _TOOLS.items():
        for tool in tools:
            if not shutil.which(tool):
                return f"{tool} is not installed (Debian: {package})"
    if not Path("/usr/include/simavr/sim_avr.h").exists():
        return "simavr is not installed (Debian: libsimavr-dev)"
    return ""


def includes(kind: str = "pins") -> list[str]:
    """Where the core of a kind finds its headers on this machine."""
    return [f"-I{FIRMWARE}/core", f"-I{FIRMWARE}/board/{kind}", f"-I{HERE}"]


needs_avr = pytest.mark.skipif(bool(missing()), reason=missing() or "all there")


def _folder(kind: str, sources: Sequence[Path]) -> Path:
    digest = hashlib.sha256()
    for source in sorted(sources):
        digest.update(source.name.encode() + source.read_bytes())
    return Path(tempfile.gettempdir()) / f"loomproof-{kind}-{os.getuid()}-{digest.hexdigest()[:16]}"


def _firmware_sources() -> list[Path]:
    return [*FIRMWARE.glob("*/**/*.[ch]"), FIRMWARE / "Makefile"]


def run(command: Sequence[str | Path], cwd: Path | None = None) -> str:
    """Run a tool and return what it said; raise with its words where it fails."""
    done = subprocess.run(list(map(str, command)), cwd=cwd, capture_output=True, text=True, check=False)
    if done.returncode:
        raise AssertionError(f"{' '.join(map(str, command))}:\n{done.stdout}{done.stderr}")
    return done.stdout


def _made(folder: Path, make: Sequence[Sequence[str | Path]]) -> Path:
    """Make a folder's contents beside it and move it there in one step, so that two makers do no harm."""
    if not folder.exists():
        with tempfile.TemporaryDirectory(dir=folder.parent) as work:
            for command in make:
                run([str(part).replace("@", work) for part in command])
            try:
                Path(work).rename(folder)
                Path(work).mkdir()
            except OSError:
                assert folder.exists()
    return folder


@lru_cache
def firmware(kind: str = "pins") -> Path:
    """Return the folder with scanner.hex, scanner.elf and the compiler's .su files of a kind of scanner."""
    folder = _folder("firmware" if kind == "pins" else f"firmware-{kind}", _firmware_sources())
    return _made(folder, [["make", "-s", "-C", FIRMWARE, f"KIND={kind}", "BUILD=@"]])


@lru_cache
def emulator_library() -> Path:
    """Return the shared library of the emulator."""
    sources = sorted(HERE.glob("emulator*.c"))
    folder = _folder("emulator", [*sources, HERE / "emulator.h"])
    flags = ["-O2", "-Wall", "-shared", "-fPIC", "-I/usr/include/simavr"]
    libraries = ["-l:libsimavr.so.2", "-lm"]
    command: list[str | Path] = ["cc", *flags, "-o", "@/emulator.so", *sources, *libraries]
    return _made(folder, [command]) / "emulator.so"


def _headers() -> list[Path]:
    kinds = (FIRMWARE / "board").glob("*/kind.h")
    return [*(FIRMWARE / "core").glob("*.h"), *kinds, *HERE.glob("host_*.h")]


@lru_cache
def core_library() -> Path:
    """Return the portable core as a shared library of this machine, on a board in memory."""
    sources = [HERE / "host_board.c", *sorted((FIRMWARE / "core").glob("*.c"))]
    folder = _folder("core", [*sources, *_headers()])
    flags = ["-std=c11", "-O1", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC"]
    flags += includes()
    return _made(folder, [["cc", *flags, "-o", "@/core.so", *sources, "-lm"]]) / "core.so"


FUZZ_TARGETS = {"LINK": "pins", "PARSER": "pins", "SCAN": "pins", "WATCH": "pins", "OHMS": "ohms"}
"""Each target, and the kind of scanner whose core it runs."""


@lru_cache
def fuzzers() -> Path:
    """Return the folder with a libFuzzer program for each target, by its name in lower case.

    The core's objects beside it are those of the kind with points on pins.
    """
    board = [HERE / "host_board.c", HERE / "host_taps.c"]
    sources = [*board, *sorted((FIRMWARE / "core").glob("*.c"))]
    folder = _folder("fuzz", [HERE / "fuzz.c", *sources, *_headers()])
    flags = ["-std=c11", "-O1", "-g", "-Wall", "-Wextra", "-Werror", "-fno-sanitize-recover=all"]
    guards = "-fsanitize=fuzzer-no-link,address,undefined"
    whole = "-fsanitize=fuzzer,address,undefined"
    commands: list[list[str | Path]] = [["mkdir", "@/core_ohms"]]
    for kind, place in (("pins", "@"), ("ohms", "@/core_ohms")):
        mine = [*flags, *includes(kind)]
        objects = [f"{place}/{source.stem}.o" for source in sources]
        for source, target in zip(sources, objects, strict=True):
            commands.append(["clang", *mine, guards, "-c", source, "-o", target])
        for name in (target for target, of in FUZZ_TARGETS.items() if of == kind):
            last: list[str | Path] = [HERE / "fuzz.c", *objects, "-lm", "-o", f"@/{name.lower()}"]
            commands.append(["clang", *mine, "-Wno-unused-function", whole, f"-DTARGET={name}", *last])
    return _made(folder, commands)
