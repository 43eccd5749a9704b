"""Other systems than this one: nothing that only POSIX has is asked for where it need not be there."""

from __future__ import annotations

import datetime
import io
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from loomproof.bench.address import SerialAddress, parse_address
from loomproof.bench.simulation import Simulation
from loomproof.bench.usual_ports import usual_address, usual_resource
from loomproof.errors import NoBenchError
from loomproof.reports import typesetting
from loomproof.screens.wiggle import console_key
from loomproof.virtual.starting import Kind, simulated

ROOT = Path(__file__).parents[1]
TAIL_LAMP = ROOT / "fixtures" / "tail_lamp"

POSIX_ONLY = {
    *("termios", "tty", "pty", "fcntl", "resource", "pwd", "grp", "curses", "readline", "syslog"),
    *("posix", "crypt", "spwd", "nis"),
}
"""Modules that Python's library has on Unix only; "Availability" in its documentation says so of each."""

GONE = {
    # What's New In Python 3.12
    *("asynchat", "asyncore", "distutils", "imp", "smtpd"),
    # What's New In Python 3.13: PEP 594 and lib2to3
    *("aifc", "audioop", "cgi", "cgitb", "chunk", "crypt", "imghdr", "mailcap", "msilib", "nis", "nntplib"),
    *("ossaudiodev", "pipes", "sndhdr", "spwd", "sunau", "telnetlib", "uu", "xdrlib", "lib2to3"),
    # never part of it, and no longer brought by a virtual environment (What's New In Python 3.12)
    *("pkg_resources", "setuptools"),
}
GONE_NAMES = {
    # deprecated since 3.12: a warning there, and warnings are errors here
    *("utcnow", "utcfromtimestamp"),
    # What's New In Python 3.12, 3.13 and 3.14, "Removed"
    *("findModule", "makeSuite", "find_loader", "find_module", "load_module", "get_loader"),
    *(
        "getdefaultlocale",
        "resetlocale",
        "assertEquals",
        "TypedDict_",
        "get_child_watcher",
        "set_child_watcher",
    ),
}

WITHOUT = f"""
import builtins, importlib, pkgutil, select, signal, sys
whole = builtins.__import__
def only(name, globals=None, locals=None, fromlist=(), level=0):
    who = (globals or {{}}).get("__name__", "")
    if who.partition(".")[0] == "loomproof" and name.partition(".")[0] in {POSIX_ONLY}:
        raise ModuleNotFoundError(f"{{who}} wants {{name}}", name=name)
    return whole(name, globals, locals, fromlist, level)
builtins.__import__ = only
for name in ("SIGHUP", "SIGQUIT", "SIGALRM", "SIGUSR1", "SIGWINCH", "SIGPIPE", "SIGKILL", "SIGCHLD"):
    delattr(signal, name)

import loomproof
own = [
    importlib.import_module(module.name)
    for module in pkgutil.walk_packages(loomproof.__path__, "loomproof.")
    if not module.name.endswith("__main__") or module.name == "loomproof.virtual.__main__"
]
print(len(own))

builtins.__import__ = whole  # the store's lock
from loomproof.cli.main import run
print(run(sys.argv[1:]))

builtins.__import__ = only
del select.poll, select.epoll
for system in ("win32", "darwin"):
    sys.platform = system
    for module in own:
        if hasattr(module, "sys") and module.__name__ != "loomproof.bench.simulation":
            importlib.reload(module)
    print(system)
"""
"""Denies our own modules what only POSIX has; the libraries choose for themselves, by system."""


@pytest.fixture(scope="module")
def without(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[str], Path]:
    """A process, and the simulator that it starts, without terminals: lines, and the folder of a proof."""
    folder = tmp_path_factory.mktemp("without")
    told = "open('asked', 'a').close()\nraise ImportError('no pseudo-terminals here')\n"
    (folder / "pty.py").write_text(told, encoding="utf-8")
    words = ("prove", str(TAIL_LAMP), "--bench", "sim:")
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", WITHOUT, *words],
        capture_output=True,
        text=True,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(folder), "LOOMPROOF_HOME": str(folder / "home")},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines(), folder


def test_every_module_is_imported_without_what_only_posix_has(without: tuple[list[str], Path]) -> None:
    """And those that look at the system once more, as the two others call themselves."""
    said, _ = without
    assert int(said[0]) > 300
    assert said[-2:] == ["win32", "darwin"]


def test_a_proof_goes_over_tcp_where_there_are_no_terminals(without: tuple[list[str], Path]) -> None:
    """What ``sim:`` and the demo start are one process; it is told nothing of a line and finds its own."""
    said, folder = without
    assert said[-3] == "0"
    assert (folder / "asked").exists()
    assert len(list((folder / "out").glob("*.pass.pdf"))) == 1


SOURCES = {
    path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8")
    for top in ("src", "tests")
    for path in sorted((ROOT / top).rglob("*.py"))
}


def asked(names: set[str], *, within: str = r"[ ]*") -> re.Pattern[str]:
    return re.compile(rf"^{within}(?:import|from) (?:{'|'.join(sorted(names))})\b", re.MULTILINE)


def test_nothing_is_asked_for_that_later_pythons_have_no_more() -> None:
    """Python 3.12 to 3.14; the list is of "What's New", kept here by hand."""
    used = re.compile(rf"\.(?:{'|'.join(sorted(GONE_NAMES))})\(")
    assert asked(GONE).search("x = 1\nfrom distutils.core import setup")
    assert used.search("datetime.utcnow()")
    for path, text in SOURCES.items():
        if path != "tests/test_platforms.py":
            assert not asked(GONE).search(text), path
            assert not used.search(text), path


def test_nothing_that_only_posix_has_is_asked_for_as_a_module_begins() -> None:
    """Campaigns, figures and the emulated board (C, on Linux) are no part of the tests of other systems."""
    begins = asked(POSIX_ONLY, within="")
    assert begins.search("import os\nimport pty")
    wanting = [path for path, text in SOURCES.items() if begins.search(text)]
    assert not [path for path in wanting if not re.match(r"tests/(campaign|figures|firmware)/", path)]


@pytest.mark.parametrize("lacking", ["import", "none free"])
def test_the_simulator_finds_itself_a_line(lacking: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def none_free() -> tuple[int, int]:
        raise OSError("out of pty devices")

    if lacking == "import":
        monkeypatch.setitem(sys.modules, "pty", None)
    else:
        monkeypatch.setattr("pty.openpty", none_free)
    server = simulated(TAIL_LAMP, Kind())
    try:
        assert server.line.address.startswith("tcp:127.0.0.1:")
    finally:
        server.close()
    with pytest.raises(NoBenchError, match="no pseudo-terminals"):
        simulated(TAIL_LAMP, Kind(), pty=True)


@pytest.mark.parametrize(
    ("platform", "address", "resource"),
    [
        ("win32", "serial:COM3", "ASRL3::INSTR"),
        ("darwin", "serial:/dev/cu.usbmodem1101", "ASRL/dev/cu.usbmodem1101::INSTR"),
        ("linux", "serial:/dev/ttyACM0", "ASRL/dev/ttyACM0::INSTR"),
        ("freebsd14", "serial:/dev/ttyACM0", "ASRL/dev/ttyACM0::INSTR"),
    ],
)
def test_a_port_is_called_as_the_system_calls_it(platform: str, address: str, resource: str) -> None:
    """Names by the documentation of pySerial (``list_ports``) and PyVISA (resource names), from memory."""
    assert usual_address(platform) == address
    assert usual_resource(platform) == resource
    assert isinstance(parse_address(address), SerialAddress)


def test_keys_of_a_windows_console_are_read_one_by_one() -> None:
    """A function key is two marks there, the first of them NUL or E0 (documentation of ``msvcrt.getwch``)."""
    typed = iter("3\x00H\xe0M7")
    waiting = iter([True, True, True, True, False])
    keys = [console_key(lambda: next(waiting), lambda: next(typed), 0.0) for _ in range(5)]
    assert keys == ["3", "", "", "7", ""]


def test_a_process_of_ours_is_out_of_reach_of_ctrl_c(monkeypatch: pytest.MonkeyPatch) -> None:
    """On Windows a session means nothing, and a process group of its own is what keeps Ctrl-C from it."""
    given = list[dict[str, object]]()

    def begun(*_: object, **how: object) -> subprocess.CompletedProcess[bytes]:
        given.append(how)
        return subprocess.CompletedProcess([], 0, b"a page")

    class Begun:
        def __init__(self, *_: object, **how: object) -> None:
            given.append(how)
            raise InterruptedError

    monkeypatch.setattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0x200, raising=False)
    monkeypatch.setattr(subprocess, "run", begun)
    monkeypatch.setattr(typesetting, "MUCH", 0)
    assert typesetting.typeset("certificate.typ", {}, {}, datetime.datetime.now(datetime.UTC)) == b"a page"
    monkeypatch.setattr(subprocess, "Popen", Begun)
    monkeypatch.setattr(tempfile, "TemporaryFile", io.BytesIO)
    with pytest.raises(InterruptedError):
        Simulation(TAIL_LAMP)
    assert [(how["creationflags"], how["start_new_session"]) for how in given] == [(0x200, True)] * 2
