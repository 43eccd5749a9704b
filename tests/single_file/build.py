"""Builds one file with the program and all its libraries, as locked, for this system and this Python.

Run as ``python -m tests.single_file.build FOLDER``; `make archive` does. Whoever has that file and the same
Python needs no network, no pip and no rights: ``python3 loomproof-….pyz demo``.
"""

from __future__ import annotations

import hashlib
import json
import platform
import shutil
import subprocess
import sys
import tempfile
import zipapp
from pathlib import Path

from loomproof.version import VERSION

ROOT = Path(__file__).parents[2]
START = Path(__file__).with_name("start.py")
PIP = (sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-compile")


def gather(folder: Path) -> None:
    """Lay the locked libraries, whose hashes are checked, and this program into a folder."""
    locked = ("--require-hashes", "--only-binary", ":all:", "-r", str(ROOT / "requirements" / "runtime.txt"))
    subprocess.run([*PIP, "--target", str(folder), *locked], check=True)
    # Not into what is there: pip would put a second copy of a folder beside.
    own = folder.with_name("own")
    subprocess.run([*PIP, "--target", str(own), "--no-deps", "--no-build-isolation", str(ROOT)], check=True)
    shutil.copytree(own, folder, dirs_exist_ok=True)
    # Commands of libraries, which name the Python that built this.
    shutil.rmtree(folder / "bin", ignore_errors=True)


def pack(libraries: Path, target: Path) -> Path:
    """Make one file in ``target`` of a folder of libraries; return it."""
    about = {
        "version": VERSION,
        "python": f"{sys.version_info.major}.{sys.version_info.minor}",
        "system": platform.system(),
        "machine": platform.machine(),
        "digest": digest(libraries),
    }
    name = "-".join((f"loomproof-{VERSION}-python{about['python']}", about["system"], about["machine"]))
    target.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as laid:
        inside = Path(laid)
        shutil.copy(START, inside / "__main__.py")
        (inside / "about.json").write_text(json.dumps(about, indent=1) + "\n", encoding="utf-8")
        shutil.copytree(libraries, inside / "libraries", ignore=shutil.ignore_patterns("__pycache__"))
        made = target / f"{name.lower()}.pyz"
        zipapp.create_archive(inside, made, "/usr/bin/env python3", compressed=True)
    return made


def digest(libraries: Path) -> str:
    """Return what tells one content from another: 16 hex digits of SHA-256 over names and bytes."""
    taken = hashlib.sha256()
    for path in sorted(each for each in libraries.rglob("*") if each.is_file()):
        if "__pycache__" not in path.parts:
            name, data = path.relative_to(libraries).as_posix().encode(), path.read_bytes()
            taken.update(b"%d %d " % (len(name), len(data)) + name + data)
    return taken.hexdigest()[:16]


def main(target: Path) -> None:
    """Build the file, and say what it came to."""
    with tempfile.TemporaryDirectory() as folder:
        libraries = Path(folder) / "libraries"
        gather(libraries)
        made = pack(libraries, target)
    whole = hashlib.sha256(made.read_bytes()).hexdigest()
    print(f"{made}: {made.stat().st_size / 1e6:.0f} MB, SHA-256 {whole}")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
