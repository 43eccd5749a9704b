"""Which benches a page offers and takes: those that were named, and else what this machine has."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.errors import Do, Todo, UsageError
from loomproof.loom.reading import load
from loomproof.web import workplace
from loomproof.web.cures import on_pages
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


def test_a_demos_bench_is_called_one(tmp_path: Path) -> None:
    place = replace(of(tmp_path, "serial:/dev/pts/0"), mend=str)
    assert place.offered(LOOM) == {"serial:/dev/pts/0": "the demo's simulated bench"}


def test_an_adapter_is_offered_first_for_the_looms_it_fits_alone(tmp_path: Path) -> None:
    leads = in_order(load(LOOM).loom.cavities)
    place = replace(of(tmp_path), adapters={"no file": str(tmp_path / "none.csv"), "leads": leads})
    others = [name for name in place.found() if name != LOOM.name]
    assert place.fitting(LOOM.name) == "leads"
    assert others
    assert not any(map(place.fitting, others))


def test_a_page_says_where_a_page_makes_a_table() -> None:
    asked = on_pages(lambda do: "typed" if do else "")
    assert "Learn the adapter" in asked(Do(Todo.CHECK_ADAPTER))
    assert (asked(Do(Todo.FIT)), asked(None)) == ("typed", "")
