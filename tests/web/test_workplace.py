"""Which benches a page offers and takes: those that were named, and else what this machine has."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.errors import UsageError
from loomproof.web import workplace
from loomproof.web.workplace import Workplace
from tests.web.asking import LOOMS

LOOM = LOOMS / "tail_lamp"


@pytest.fixture(autouse=True)
def one_port(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(workplace, "ports", lambda: (("/dev/ttyACM0", "a scanner"),))
    monkeypatch.chdir(tmp_path)


def of(tmp_path: Path, *benches: str) -> Workplace:
    return Workplace(LOOMS, tmp_path, str(tmp_path / "records.db"), benches)


def refused(place: Workplace, *addresses: str) -> None:
    for address in addresses:
        with pytest.raises(UsageError, match="may ask for no bench"):
            place.bench(address, LOOM)


def test_where_benches_are_named_no_other_is_offered_or_taken(tmp_path: Path) -> None:
    Path("workshop.toml").write_text('bench = "visa:ASRL1"\n', encoding="utf-8")
    place = of(tmp_path, "tcp:10.0.0.7:7000", "sim:?paced")
    assert list(place.offered(LOOM)) == ["tcp:10.0.0.7:7000", "sim:?paced"]
    assert place.bench("sim:?paced", LOOM) == "sim:?paced"
    refused(place, "sim:", "serial:/dev/ttyACM0", "visa:ASRL1", "tcp:10.0.0.8:7000", "hand:")


def test_where_none_is_named_the_workshops_and_what_is_found_are_offered(tmp_path: Path) -> None:
    Path("workshop.toml").write_text('bench = "visa:ASRL1"\n', encoding="utf-8")
    place = of(tmp_path)
    assert list(place.offered(LOOM)) == ["visa:ASRL1", "serial:/dev/ttyACM0", "sim:"]
    assert place.bench("visa:ASRL1", LOOM) == "visa:ASRL1"
    refused(place, "serial:/dev/ttyACM1", "tcp:10.0.0.8:7000")


def test_a_hand_meter_of_the_workshop_is_not_offered(tmp_path: Path) -> None:
    Path("workshop.toml").write_text('bench = "hand:?ohms"\n', encoding="utf-8")
    place = of(tmp_path)
    assert list(place.offered(LOOM)) == ["serial:/dev/ttyACM0", "sim:"]
    refused(place, "hand:?ohms", "hand:")
