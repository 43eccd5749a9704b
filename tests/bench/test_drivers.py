"""Drivers of other packages, found by the entry points of what is installed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from loomproof.bench.address import OtherAddress, parse_address
from loomproof.bench.opening import open_bench
from loomproof.errors import NoBenchError, UnfitError, UsageError

DRIVER = """
import math
from loomproof.bench.interface import Bench
from loomproof.bench.questions import Release, Resistance
from loomproof.bench.seam import Capabilities, Identity, opening_of
from loomproof.errors import NoBenchError


class RelayBox(Bench):
    def __init__(self, where):
        self.address, self.done = str(where), []
        if where.place == "nowhere":
            raise NoBenchError("no relay box answers")
        self.points = int(dict(where.options).get("points", "16"))
        self._holds(opening_of(self.identify()))

    def identify(self):
        return Identity("Invented Relays", "relay box", "RB1", "3")

    def capabilities(self):
        return Capabilities(self.points, sense_ohm=None, clear_ohm=None, ohms=(0.01, 1e6))

    def _answer(self, question):
        self.done.append(question)
        return 0.25 if isinstance(question, Resistance) and question.b == 2 else None

    def _disconnect(self):
        self.done.append("disconnected")


NOT_ONE = "text"
"""


@pytest.fixture
def installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Install a package that brings drivers: its files and its metadata, as an installer leaves them."""
    monkeypatch.syspath_prepend(tmp_path)

    def install(name: str, **schemes: str) -> None:
        (tmp_path / "relaybox.py").write_text(DRIVER, encoding="utf-8")
        info = tmp_path / f"{name}-1.2.dist-info"
        info.mkdir()
        (info / "METADATA").write_text(
            f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.2\n", encoding="utf-8"
        )
        lines = [f"{scheme} = {value}" for scheme, value in schemes.items()]
        (info / "entry_points.txt").write_text(
            "\n".join(["[loomproof.benches]", *lines, ""]), encoding="utf-8"
        )

    return install


def test_its_driver_opens_the_address(installed: Callable[..., None]) -> None:
    installed("relaybox", relaybox="relaybox:RelayBox")
    where = parse_address("RelayBox:shelf%202?points=24&fast")
    assert where == OtherAddress("relaybox", "shelf 2", (("points", "24"), ("fast", "")))
    assert parse_address(str(where)) == where
    with open_bench(where) as bench:
        assert bench.address == "relaybox:shelf%202?points=24&fast"
        assert bench.capabilities().points == 24
        assert not bench.opening.simulated
        assert bench.resistance(1, 2) == 0.25
        with pytest.raises(UnfitError, match="driver of the bench at relaybox"):
            bench.resistance(1, 4)
        with pytest.raises(UnfitError, match="cannot sense"):
            bench.sense([0])
    assert bench.released
    assert vars(bench)["done"][-1] == "disconnected"


def test_what_its_driver_says_is_said(installed: Callable[..., None]) -> None:
    installed("relaybox", relaybox="relaybox:RelayBox")
    with pytest.raises(NoBenchError, match="no relay box answers"):
        open_bench("relaybox:nowhere")


def test_a_scheme_that_nobody_opens_names_those_that_are_opened(installed: Callable[..., None]) -> None:
    with pytest.raises(UsageError, match="does not begin with serial:, tcp:, visa:, sim: or hand:"):
        parse_address("relaybox:1")
    installed("relaybox", relaybox="relaybox:RelayBox")
    with pytest.raises(UsageError, match="visa:, sim:, hand: or relaybox:") as caught:
        parse_address("relaybx:1")
    assert caught.value.cure == "There is relaybox:."


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("relaybox:NOT_ONE", "is no driver"),
        ("relaybox:Missing", "relaybox 1.2, cannot be loaded"),
        ("no_such_module:Driver", "relaybox 1.2, cannot be loaded"),
    ],
)
def test_a_driver_that_is_none_is_told_as_such(installed: Callable[..., None], value: str, says: str) -> None:
    installed("relaybox", relaybox=value)
    with pytest.raises(UsageError, match=says) as caught:
        open_bench("relaybox:1")
    assert caught.value.cure


def test_two_drivers_for_one_scheme_are_one_too_many(installed: Callable[..., None]) -> None:
    installed("relaybox", relaybox="relaybox:RelayBox")
    installed("otherbox", relaybox="relaybox:RelayBox")
    with pytest.raises(UsageError, match=r"opened by .*box 1\.2 and by .*box 1\.2"):
        open_bench("relaybox:1")


def test_what_is_built_in_is_nobody_elses(installed: Callable[..., None]) -> None:
    installed("relaybox", sim="relaybox:RelayBox")
    with pytest.raises(UsageError, match="needs a loom"):
        open_bench("sim:")
