"""Adapters of two or three leads: when an offset drops out, what is compared, which points are shared."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.bench.adapter import Adapter, Lead, table_of
from loomproof.bench.adapter_fit import problems_of
from loomproof.bench.capability_report import read_capabilities
from loomproof.bench.references import Reference, shared_points
from loomproof.errors import UnfitError
from loomproof.loom.model import End

METER = "M7"


def zeroed(date: str, *, spread_ohm: float = 0.002) -> Adapter:
    leads = (Lead(k, End("P", str(k)), 0.1, 0.01, date, spread_ohm * k, METER) for k in (1, 2))
    return Adapter("two", tuple(leads))


@pytest.mark.parametrize(
    ("date", "spread_ohm"),
    [("2026-05-04", 0.004), ("2026-05-03", 0.004), ("2026-05-02", None), ("2026-05-05", None)],
)
def test_a_meters_offset_drops_out_with_leads_zeroed_today_or_yesterday(
    date: str, spread_ohm: float | None
) -> None:
    """Not over a day before the proof, nor after it; the greater spread of the two leads counts."""
    asked = zeroed(date).offset_spread_ohm(METER, "2026-05-04T18:00:00+00:00")
    assert asked == spread_ohm
    assert zeroed(date).offset_spread_ohm("another", "2026-05-04T18:00:00+00:00") is None
    assert zeroed(date, spread_ohm=0.0).offset_spread_ohm(METER, "2026-05-04T18:00:00+00:00") is None


def test_an_adapter_is_what_its_leads_are_wherever_they_stand() -> None:
    """Row and file say where a lead was read from, and nothing of the adapter."""
    one = Adapter("A", (Lead(1, End("P", "1"), row=2),), file="a.csv")
    assert one == Adapter("A", (Lead(1, End("P", "1"), row=7),), file="b.csv")
    assert one != Adapter("A", (Lead(2, End("P", "1"), row=2),), file="a.csv")


def test_points_that_two_references_have_are_shared() -> None:
    apart = [Reference(1, 2, 10.0, 0.1), Reference(3, 4, 10.0, 0.1)]
    assert shared_points(apart, ()) == []
    assert shared_points(apart, [4, 9]) == [4]
    assert shared_points([*apart, Reference(2, 5, 10.0, 0.1)], ()) == [2]


def test_a_lead_that_was_never_zeroed_open_keeps_its_cells_empty_beside_one_that_was() -> None:
    """1.5e-11 F are 15 pF."""
    open_lead = Lead(1, End("P", "1"), lead_f=1.5e-11, lead_u_f=2e-12, open_zeroed="2026-05-04")
    header, first, second = table_of(Adapter("A", (open_lead, Lead(2, End("P", "2"))))).splitlines()
    assert header.endswith("lead_pf,lead_u_pf,open_zeroed")
    assert first.endswith(",15,2,2026-05-04")
    assert second.endswith(",,,")


@pytest.mark.parametrize(("fitting", "hardly"), [(0, True), (1, True), (2, False), (3, False)])
def test_where_fewer_than_one_in_ten_fit_it_is_the_adapter_of_another_loom(
    fitting: int, hardly: bool
) -> None:
    """Of twenty leads two are one in ten; from there on each misfit is told by itself."""
    ends = [End("P" if k <= fitting else f"X{k}", str(k)) for k in range(1, 21)]
    adapter = Adapter("A", tuple(Lead(k, end) for k, end in enumerate(ends, 1)))
    said = problems_of(adapter, [End("P", str(k)) for k in range(1, 21)], 64)
    assert any(f"{fitting or 'none'} of its 20 leads" in problem.message for problem in said) is hardly


@pytest.mark.parametrize(("points", "line", "fits"), [(16, 56, True), (16, 55, False), (512, 304, True)])
def test_a_line_has_room_for_two_sets_and_a_frame(points: int, line: int, fits: bool) -> None:
    """The link's contract, section 9: a line of at least twice the digits of a set and 48 bytes."""
    told = f"POINTS={points},LINE={line}"
    if fits:
        assert read_capabilities(told).line_bytes == line
    else:
        with pytest.raises(UnfitError, match="below 56"):
            read_capabilities(told)


@pytest.mark.parametrize(("told", "fits"), [("VOLT=1E15", True), ("VOLT=1.01E15", False)])
def test_no_figure_of_a_bench_is_over_ten_to_the_fifteenth(told: str, fits: bool) -> None:
    if fits:
        assert read_capabilities(f"POINTS=4096,LINE=2096,{told}").capabilities.volt_max == 1e15
    else:
        with pytest.raises(UnfitError, match="VOLT"):
            read_capabilities(f"POINTS=4096,LINE=2096,{told}")


def test_an_adapter_is_written_and_read_back(tmp_path: Path) -> None:
    path = tmp_path / "two.csv"
    zeroed("2026-05-04").write(path)
    assert Adapter.read(path).entries == zeroed("2026-05-04").entries
    assert path.read_text(encoding="utf-8") == table_of(zeroed("2026-05-04"))
