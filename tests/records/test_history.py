from __future__ import annotations

import re
from pathlib import Path

import pytest

from loomproof.errors import UsageError
from loomproof.records.history import Point, Trend, trends
from loomproof.records.keys import Signer
from loomproof.records.store import Store
from loomproof.records.trusted import trusted_runs
from loomproof.reports.plots import Series, bars_plot, trend_plot
from loomproof.results.document import Verdict
from tests.reports.sample import document


def point(ohm: float | None, uncertainty: float = 0.03) -> Point:
    return Point("r", "2026-01-05T10:15:00+00:00", ohm, uncertainty, 0.35)


def test_a_joint_that_moved_is_told_from_noise() -> None:
    """Uncertainty of a difference: JCGM 100, 5.1.2; 3-4-5 gives 0.05 Ω exactly."""
    still = Trend("W1", (point(0.10, 0.03), point(0.149, 0.04)))
    assert still.change_ohm == pytest.approx(0.049)
    assert still.change_uncertainty_ohm == pytest.approx(0.05)
    assert not still.moved
    assert Trend("W1", (point(0.10, 0.03), point(0.151, 0.04))).moved
    assert Trend("W1", (point(0.151, 0.03), point(0.10, 0.04))).moved
    opened = Trend("W1", (point(0.10), point(None)))
    assert opened.change_ohm is None
    assert opened.moved
    assert not Trend("W1", (point(0.1),)).moved
    assert not Trend("W1", (point(None), point(None))).moved


def test_trends_come_from_sealed_records_most_changed_first(store: Store, signer: Signer) -> None:
    for number, ohm in enumerate((0.07, 0.09, 0.2)):
        made = document(run=f"r{number}", verdict=Verdict.PASS, measured_ohm=ohm, wires=3)
        store.seal_run(made, signer)
    store.seal_run(document(run="other", serial="elsewhere"), signer)
    worse = document(run="r3", findings=1, measured_ohm=0.2, wires=3)
    store.seal_run(worse, signer)
    known = {signer.public_hex: "the shop"}
    found = trends(trusted_runs(store, known, "TL-0007"))
    assert [trend.subject for trend in found] == ["W1", "W2", "W3"]
    assert [point.run for point in found[0].points] == ["r0", "r1", "r2", "r3"]
    assert found[0].change_ohm == pytest.approx(4.7312 - 0.071)
    assert [trend.moved for trend in found] == [True, False, False]
    assert trends(trusted_runs(store, {}, "TL-0007")) == (), "nobody knows who sealed them"


def series(name: str) -> Series:
    times = ["2026-01-05T10:15:00Z", "2026-02-05T10:15:00+01:00", "2026-03-05"]
    return Series(name, times, [0.1, float("nan"), 0.2], [0.05, float("nan"), 0.05], [0.35] * 3)


@pytest.mark.parametrize("ending", [".svg", ".png"])
def test_pictures_are_drawn_alike_every_time(tmp_path: Path, ending: str) -> None:
    one, two = tmp_path / f"one{ending}", tmp_path / f"two{ending}"
    for path in (one, two):
        trend_plot(path, "a $title$ with ^signs_", [series("W1"), series("_hidden $x")])
    assert one.read_bytes() == two.read_bytes()
    head = one.read_bytes()[:200]
    assert (b"<?xml" in head) if ending == ".svg" else head.startswith(b"\x89PNG")
    bars_plot(two, "Faults", {"by kind": [("open", 3)], "by wire": []})
    assert two.stat().st_size > 1000


def test_values_over_decades_stand_on_a_logarithmic_axis(tmp_path: Path) -> None:
    """A joint of 4.7 Ω beside those of 0.07 Ω leaves room to read both; an SVG's ticks are drawn as paths."""
    pytest.importorskip("matplotlib")
    for name, most, ticks in (("near", 0.09, {"0.06", "0.08"}), ("far", 4.7, {"0.1", "1"})):
        one = Series("W1", ["2026-01-05", "2026-02-05"], [0.06, most], [0.01, 0.01], [0.13, 0.13])
        trend_plot(tmp_path / f"{name}.svg", name, [one])
        drawn = (tmp_path / f"{name}.svg").read_text(encoding="utf-8")
        texts = set(re.findall(r"<!-- (\S+) -->", drawn))
        assert ticks <= texts, name


def test_another_picture_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"\.svg or \.png"):
        trend_plot(tmp_path / "a.gif", "", [])
