"""Joints over time: every database and a data set answer alike, and as scipy and plain counting do."""

from __future__ import annotations

import datetime
import json
import math
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from loomproof.errors import StoreError
from loomproof.fleet.forecast import Fit, Line, drifting, fit, meeting
from loomproof.fleet.joints import Joints, drift, survival, without_serial
from loomproof.fleet.parquet import add_to
from loomproof.fleet.survival import Life, surviving
from loomproof.fleet.tables import of_dataset, of_store
from loomproof.jobs.fleet import ONE_LOOM, of_the_store
from loomproof.records.store import Store, open_store
from loomproof.results.drift import Drift
from tests.fleet.joints_filled import LIMIT, Reading, fill_joints, made
from tests.records import postgres

RUNS, READINGS = made(seed=3, looms=8, joints=7, proofs=12)
REAL = [each for each in READINGS if not each.serial.endswith("00")]


@pytest.fixture(scope="module")
def sqlite(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with open_store(str(tmp_path_factory.mktemp("joints") / "records.db")) as store:
        fill_joints(store, RUNS, READINGS)
        yield store


@pytest.fixture(scope="module")
def told(sqlite: Store) -> Joints:
    with of_store(sqlite.url) as tables:
        return drift(tables)


def by_joint(readings: list[Reading]) -> dict[tuple[str, str, str], list[Reading]]:
    found: dict[tuple[str, str, str], list[Reading]] = defaultdict(list)
    for each in readings:
        found[each.loom, each.serial, each.joint].append(each)
    return found


def since_mended(readings: list[Reading]) -> list[Reading]:
    bad = [place for place, each in enumerate(readings) if each.bad]
    return readings[bad[-1] + 1 :] if bad else readings


def days(moment: datetime.datetime) -> float:
    return moment.timestamp() / 86_400


def test_drift_is_what_a_regression_of_the_readings_says(told: Joints) -> None:
    expected = {}
    enough = 0
    for name, all_of in by_joint(REAL).items():
        found = since_mended(all_of)
        if len(found) < 5 or (found[-1].at - found[0].at).days < 28:
            continue
        enough += 1
        ohm = np.array([each.micro_ohm for each in found], dtype=float) * 1e-6
        if not found[-1].limit or np.ptp(ohm) <= math.sqrt(2) * 1.5e-3:
            continue
        line = stats.linregress([days(each.at) for each in found], ohm)
        if line.slope > 0 and line.pvalue < 1e-6:  # far from the border, where all of them are told or none
            expected[name] = line
    assert told.enough == enough > 30
    assert {(one.loom, one.serial, one.joint) for one in told.drifting} == set(expected) != set()
    for one in told.drifting:
        line = expected[one.loom, one.serial, one.joint]
        half = stats.t.ppf(0.975, one.readings - 2) * line.stderr * 365.25
        assert one.slope_ohm_a_year == pytest.approx(line.slope * 365.25, rel=1e-9)
        assert one.slope_to - one.slope_ohm_a_year == pytest.approx(half, rel=1e-9)
        assert one.slope_ohm_a_year - one.slope_from == pytest.approx(half, rel=1e-9)
        met = (one.limit_ohm - line.intercept) / line.slope
        assert one.meets == datetime.date(1970, 1, 1) + datetime.timedelta(math.floor(met))
        assert one.meets_from is not None
        assert one.meets_to is not None
        assert one.meets_from < one.meets < one.meets_to
    assert [one.meets for one in told.drifting] == sorted(one.meets for one in told.drifting if one.meets)


def test_every_database_and_a_data_set_answer_alike(sqlite: Store, told: Joints, tmp_path: Path) -> None:
    with of_store(sqlite.url) as tables:
        lasted = survival(tables)
    add_to(tmp_path / "set", sqlite)
    with of_dataset(tmp_path / "set") as tables:
        assert drift(tables) == told
        assert survival(tables) == lasted
    if postgres.programs() is None:
        pytest.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    with (
        postgres.running("-c fsync=off -c synchronous_commit=off") as server,
        open_store(server.database()) as store,
    ):
        fill_joints(store, RUNS, READINGS)
        with of_store(store.url) as tables:
            assert drift(tables) == told
            assert survival(tables) == lasted


def test_joints_last_as_long_as_counting_says(sqlite: Store) -> None:
    lives: dict[tuple[str, str], list[Life]] = defaultdict(list)
    at_first = 0
    for (loom, serial, _), found in by_joint(REAL).items():
        bad = [place for place, each in enumerate(found) if each.bad]
        if found[0].bad:
            at_first += 1
            continue
        good = found[bad[0] - 1 if bad else -1].at - found[0].at
        lives[loom, serial].append((good.days, (found[bad[0]].at - found[0].at).days if bad else None, 1))
    with of_store(sqlite.url) as tables:
        told = survival(tables)
        played = survival(tables, simulated=True)
    assert told.bad_at_first == at_first > 3
    assert told.lost > 3
    assert told == surviving(lives.values(), bad_at_first=at_first)
    assert 0 < played.joints < 8, "one simulated loom of seven joints"


def test_looms_without_a_serial_are_left_out_and_told(tmp_path: Path) -> None:
    path = str(tmp_path / "a.db")
    with open_store(path) as store:
        runs, readings = made(seed=3, looms=3, joints=3, proofs=8)
        for run in runs:
            run.serial = "" if run.loom != "Loom 1" else run.serial
        own = {run.run_id for run in runs if run.serial}
        fill_joints(store, runs, readings)
        with of_store(store.url) as tables:
            assert (without_serial(tables), without_serial(tables, simulated=True)) == (8, 8)
            told = survival(tables)
            assert told.joints + told.bad_at_first == 3
            assert survival(tables, simulated=True).joints == 0
            assert drift(tables).enough <= 3
    assert len(own) == 8
    real, played = of_the_store(path)
    for answers in (real, played):
        lines = [line.strip() for line, _ in answers.lines]
        assert any(line.startswith("8 proofs are of looms without a serial number") for line in lines)
        assert ONE_LOOM in lines


def test_a_line_is_as_certified() -> None:
    """NIST, Statistical Reference Datasets, linear regression, Norris: certified values."""
    x, y = np.array(NORRIS).T
    found = fit(line_of((10 * x).round().astype(int).tolist(), (10 * y).round().astype(int).tolist()))
    assert found.slope == pytest.approx(1.00211681802045, rel=1e-14)
    assert found.error == pytest.approx(0.429796848199937e-3, rel=1e-13)
    assert found.scatter / 10 == pytest.approx(0.884796396144373, rel=1e-13)
    assert (found.mean_r - found.slope * found.mean_t_s) / 10 == pytest.approx(-0.262323073774029, rel=1e-11)


def test_the_interval_ends_where_the_band_of_the_line_meets_the_limit() -> None:
    rng = np.random.default_rng(11)
    t = np.arange(0, 40, 4)
    line = line_of(t.tolist(), (500 + 30 * t + rng.normal(0, 60, t.size)).round().astype(int).tolist())
    found = fit(line)
    times = float(stats.t.ppf(0.975, found.free))
    told = meeting(found, line.readings, 3_000, times)
    assert told is not None
    grid = np.linspace(0, 400, 400_001)
    half = times * found.scatter * np.sqrt(1 / t.size + (grid - found.mean_t_s) ** 2 / found.spread_tt)
    inside = grid[np.abs(found.mean_r + found.slope * (grid - found.mean_t_s) - 3_000) <= half]
    assert told[1:] == pytest.approx((inside[0], inside[-1]), abs=2e-3)
    flat = Fit(0.1, 0.2, found.scatter, found.mean_t_s, found.mean_r, found.spread_tt, found.free)
    assert meeting(flat, line.readings, 3_000, times) is None, "the slope may as well be none"


def test_nineteen_of_twenty_intervals_hold_the_true_day() -> None:
    rng = np.random.default_rng(5)
    t = np.arange(0, 700, 60)
    times, held = float(stats.t.ppf(0.975, t.size - 2)), 0
    for _ in range(1000):
        line = line_of(
            t.tolist(), (20_000 + 30 * t + rng.normal(0, 1500, t.size)).round().astype(int).tolist()
        )
        told = meeting(fit(line), line.readings, 20_000 + 30 * 1_000, times)
        held += told is not None and told[1] <= 1_000 <= told[2]
    assert stats.binomtest(held, 1000, 0.95).pvalue > 0.01


def test_joints_that_only_scatter_are_not_told() -> None:
    """Of 2 000 still joints one in forty has a slope that is above nothing by itself at 95 %."""
    rng = np.random.default_rng(2)
    t = (np.arange(12) * 30 * 86_400).tolist()
    still = [
        (("Loom", "", f"J{n}"), line_of(t, (20_000 + rng.normal(0, 900, 12)).round().astype(int).tolist()))
        for n in range(2_000)
    ]
    alone = [found for _, found in still if not told_alone(found)]
    assert 20 < len(still) - len(alone) < 90
    assert len(drifting(still, len(still))) <= 2
    rising = line_of(t, [20_000 + 900 * n for n in range(11)] + [29_901])
    (told, *_) = drifting([*still, (("Loom", "", "R"), rising)], len(still) + 1)
    assert told.joint == "R"


def test_joints_that_fall_make_no_room_for_those_that_rise_by_chance() -> None:
    """Benjamini and Hochberg over one-sided chances, as scipy adjusts them."""
    rng = np.random.default_rng(9)
    t = (np.arange(12) * 30 * 86_400).tolist()
    slopes = [-900] * 600 + [0] * 600
    for more, least in (([], 0), ([250] * 60, 50)):
        lines, chances = [], []
        for place, slope in enumerate([*slopes, *more]):
            r = (30_000 + slope * np.arange(12) + rng.normal(0, 500, 12)).round().astype(int).tolist()
            lines.append((("Loom", "S", f"{place}"), line_of(t, r)))
            chances.append(stats.linregress(t, r, alternative="greater").pvalue)
        told = {int(joint.joint) for joint in drifting(lines, len(lines))}
        adjusted = stats.false_discovery_control(chances)
        assert told == {place for place, chance in enumerate(adjusted) if chance <= 0.05}
        assert len([place for place in told if place < len(slopes)]) <= 6
        assert len(told) >= least


def told_alone(line: Line) -> tuple[Drift, ...]:
    return drifting([(("Loom", "", "J"), line)], 1)


def test_no_day_is_told_far_beyond_what_was_seen() -> None:
    t = (np.arange(8) * 30 * 86_400).tolist()
    (near,) = told_alone(line_of(t, [20_000 + 3_000 * n + n % 2 for n in range(8)]))
    assert near.meets is not None
    (far,) = told_alone(line_of(t, [20_000 + 1_000 * n + n % 2 for n in range(8)]))
    assert far.slope_ohm_a_year > 0
    assert (far.meets, far.meets_from, far.meets_to) == (None, None, None)
    (straight,) = told_alone(line_of(t, [20_000 + 3_000 * n for n in range(8)]))
    assert straight.meets == straight.meets_from == straight.meets_to


def line_of(t: list[int], r: list[int]) -> Line:
    return Line(
        len(t),
        sum(t),
        sum(r),
        sum(a * a for a in t),
        sum(a * b for a, b in zip(t, r, strict=True)),
        sum(b * b for b in r),
        begin_s=0,
        first_s=t[0],
        last_s=t[-1],
        last_micro_ohm=r[-1],
        limit_micro_ohm=LIMIT,
    )


def test_a_data_set_from_before_readings_is_refused(sqlite: Store, tmp_path: Path) -> None:
    add_to(tmp_path / "set", sqlite)
    about = tmp_path / "set" / "about.json"
    plain = json.loads(about.read_text())
    for version in (2, 3):
        # Nor does one of before say what came with a later version.
        old = {name: value for name, value in plain.items() if name != "confirmed_id"}
        about.write_text(json.dumps({**old, "version": version}))
        said = f"of version {version}, this program reads 4"
        with pytest.raises(StoreError, match=said), of_dataset(tmp_path / "set"):
            pass
        with pytest.raises(StoreError, match=said):
            add_to(tmp_path / "set", sqlite)


NORRIS = [
    *(
        (0.2, 0.1),
        (337.4, 338.8),
        (118.2, 118.1),
        (884.6, 888.0),
        (10.1, 9.2),
        (226.5, 228.1),
        (666.3, 668.5),
    ),
    *((996.3, 998.5), (448.6, 449.1), (777.0, 778.9), (558.2, 559.2), (0.4, 0.3), (0.6, 0.1), (775.5, 778.1)),
    *((666.9, 668.8), (338.0, 339.3), (447.5, 448.9), (11.6, 10.8), (556.0, 557.7), (228.1, 228.3)),
    *((995.8, 998.0), (887.6, 888.8), (120.2, 119.6), (0.3, 0.3), (0.3, 0.6), (556.8, 557.6), (339.1, 339.3)),
    *((887.2, 888.0), (999.0, 998.5), (779.0, 778.9), (11.1, 10.2), (118.3, 117.6), (229.2, 228.9)),
    *((669.1, 668.4), (448.9, 449.2), (0.5, 0.2)),
]
