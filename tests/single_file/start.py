"""What a single file of loomproof does when it is started: it unpacks itself once, and runs from there.

It becomes ``__main__.py`` of the file. Compiled libraries cannot be loaded out of a file, so all is laid into
the user's folder for caches, under its own digest. Nothing of it is newer than Python 3.6, so that an older
Python is told what it lacks instead of failing on a word.
"""

import json
import os
import platform
import shutil
import sys
import tempfile
import zipfile
from pathlib import Path

INSIDE = "libraries/"


def refusal(about: "dict[str, str]") -> str:
    """Return why this machine can't run the file, "" where it can."""
    wants = "loomproof {version} in this file is for Python {python} on {system} {machine}".format(**about)
    has = {
        "python": "{}.{}".format(*sys.version_info[:2]),
        "system": platform.system(),
        "machine": platform.machine(),
    }
    if any(about[key] != has[key] for key in has):
        return "{}; this is Python {python} on {system} {machine}.".format(wants, **has)
    return ""


def cache() -> Path:
    """Return the folder that files are unpacked into: ``LOOMPROOF_HOME``, else the system's for caches.

    XDG Base Directory Specification; macOS and Windows by common practice there.
    """
    home = Path.home()
    given = os.environ.get
    stated = Path(given("LOOMPROOF_HOME") or "")
    if given("LOOMPROOF_HOME"):
        return stated.expanduser() / "unpacked"
    if sys.platform == "win32":
        return Path(given("LOCALAPPDATA") or home / "AppData" / "Local") / "loomproof" / "unpacked"
    if sys.platform == "darwin":
        return home / "Library" / "Caches" / "loomproof"
    stated = Path(given("XDG_CACHE_HOME") or "")
    return (stated if stated.is_absolute() else home / ".cache") / "loomproof"


def unpacked(packed: zipfile.ZipFile, about: "dict[str, str]") -> Path:
    """Return the folder with the libraries; they are laid there if they are not yet, whole or not at all."""
    folder = cache()
    place = folder / about["digest"]
    if place.is_dir():
        return place
    sys.stderr.write(f"loomproof: unpacking once into {place} ...\n")
    folder.mkdir(parents=True, exist_ok=True)
    beside = Path(tempfile.mkdtemp(prefix=".new-", dir=str(folder)))
    try:
        packed.extractall(str(beside), [name for name in packed.namelist() if name.startswith(INSIDE)])
        try:
            (beside / INSIDE).rename(place)
        except OSError:
            if not place.is_dir():  # else somebody else was as quick
                raise
    finally:
        shutil.rmtree(str(beside), ignore_errors=True)
    return place


def start() -> None:
    """Run the command line, which exits with its code; exit with 2 where this machine can't."""
    with zipfile.ZipFile(str(Path(__file__).parent)) as packed:
        about = json.loads(packed.read("about.json").decode())
        no = refusal(about)
        if no:
            sys.stderr.write(f"loomproof: {no}\n")
            sys.exit(2)
        try:
            place = unpacked(packed, about)
        except OSError as error:
            sys.stderr.write(f"loomproof: cannot be unpacked: {error}\n")
            sys.stderr.write("  Make room or rights there, or name another folder in LOOMPROOF_HOME.\n")
            sys.exit(2)
    # In front, so that this program is run and no other; children are started by this Python and find it too.
    sys.path.insert(0, str(place))
    before = os.environ.get("PYTHONPATH")
    os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, (str(place), before)))
    sys.argv[0] = "loomproof"
    from loomproof.cli.main import main

    main()


if __name__ == "__main__":
    start()
