"""What every test runs in: a home of its own, no colours, nothing of the user's."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

# Two cores: threads inside small matrix products only get in each other's way, here and in child processes.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Some hundred tests start the command or a scanner as a process: each would compile what it imports anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


# Started in the background a shell has these ignored, and every child would ignore them too: no test of an
# order to stop could see it obeyed.
for _order in ("SIGINT", "SIGHUP", "SIGTERM"):
    _number = getattr(signal, _order, None)
    if _number is not None and signal.getsignal(_number) is signal.SIG_IGN:
        signal.signal(_number, signal.default_int_handler if _order == "SIGINT" else signal.SIG_DFL)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the one option that lets tests touch real hardware."""
    parser.addoption(
        "--device",
        metavar="ADDRESS",
        default="",
        help="a real scanner with NOTHING plugged in; its points are driven and take test current",
    )


@pytest.fixture(scope="session", autouse=True)
def _home_of_all(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep what fixtures of a whole module start, before any test has a home, out of it as well."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LOOMPROOF_HOME", str(tmp_path_factory.mktemp("home_of_all")))
        patch.delenv("LOOMPROOF_STORE", raising=False)
        yield


@pytest.fixture(autouse=True)
def _own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep keys and records of tests out of the user's data folder."""
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path_factory.mktemp("home")))
    monkeypatch.delenv("LOOMPROOF_STORE", raising=False)
    monkeypatch.setenv("NO_COLOR", "1")


@pytest.fixture(scope="session")
def fixtures() -> Path:
    """Return the folder of demo looms."""
    return Path(__file__).parent.parent / "fixtures"


@pytest.fixture
def simulated_within(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have ``sim:`` answer from a thread here: half of a short proof's time would be the simulator's imports.

    For tests of what is done with a bench. Those of the bench itself, of jobs and of processes go without.
    """
    from tests.simulating import started

    monkeypatch.setattr("loomproof.bench.simulation.Simulation", started)
