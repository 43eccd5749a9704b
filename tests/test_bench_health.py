"""Charts of kept self-tests and zeros, and the runs that a drift casts doubt on."""

from __future__ import annotations

import json
import random
import re
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

import loomproof as lp
from loomproof.cli.main import run
from loomproof.errors import InputError, UsageError
from loomproof.jobs.archive import Archive
from loomproof.jobs.bench_health import bench_health
from loomproof.jobs.gate import selftests, zeros
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Keeping
from loomproof.jobs.workshop import calibration_said
from loomproof.measuring.check import Check
from loomproof.measuring.selftests_kept import ReferenceRead, SelfTest, keep, kept, line_of, of_line
from loomproof.measuring.zeros_kept import LeadZero, Zero, keep_zero, kept_zeros
from loomproof.results.document import ClaimEntry
from loomproof.results.entered import Meter
from loomproof.results.measured import Decision
from loomproof.upkeep.health import changed_by
from tests.cli.running import loomproof

SIMULATED = ("loomproof", "simulated scanner", "SIM000000")
NOW = datetime.now(UTC).replace(microsecond=0)


def days_ago(days: int) -> str:
    return (NOW - timedelta(days=days)).isoformat().replace("+00:00", "Z")


def kept_for(days: int, drift_ohm: float, who: tuple[str, str, str] = SIMULATED, seed: int = 1) -> None:
    """Keep a self-test for each of so many days until now; a drift begins half-way."""
    rng = random.Random(seed)
    for day in range(days, 0, -1):
        late = max(days // 2 - day, 0)
        error = rng.gauss(0.02, 0.004) + drift_ohm * late
        spread = abs(rng.gauss(0.008, 0.001))
        read = (ReferenceRead(1, 2, 0.47, 0.001, error),)
        check = (Check("reference resistors", True, ""),)
        keep(SelfTest(*who, days_ago(day), "reference resistors", check, spread, "", 0.1, read), selftests())


def test_a_steady_bench_has_no_alarm_and_a_drift_is_named_with_its_day_and_the_runs_since(
    fixtures: Path, tmp_path: Path
) -> None:
    store = Archive(str(tmp_path / "kept.db"))
    kept_for(80, 0.0, ("Invented", "Scanner", "7"))
    quiet = bench_health(store)
    assert [each.series.kind for each in quiet.watched] == ["reference", "repeatability"]
    assert quiet.told == ()
    assert all("steady" in str(row) for row in quiet.texts)

    path = fixtures / "tail_lamp"
    job = Job(lp.load(path), "sim:", loom_path=path, where=Keeping(tmp_path / "out", store.store))
    job.prove_and_keep().run()
    kept_for(80, 0.02)
    (told,) = bench_health(store).told
    assert told.watched.series.bench == " ".join(SIMULATED)
    assert told.watched.drift_ohm > 0.3
    onset = told.chart.points[told.chart.onset or 0].date
    assert abs((datetime.fromisoformat(onset) - NOW).days + 40) <= 10
    assert told.runs == 1
    text = "\n".join(told.sentences)
    assert f"Began after {onset[:10]}" in text
    assert "Since then 1 run on it" in text


def claim(read_ohm: float, limit_ohm: float, **more: object) -> ClaimEntry:
    made = ClaimEntry(
        kind="resistance", subject="A:1 to B:1", statement="", decision=Decision.PASS, rule="",
        measured_ohm=read_ohm, uncertainty_ohm=0.1, limit_ohm=limit_ohm,
    )  # fmt: skip
    return made.model_copy(update=more)


def test_a_claim_counts_where_offset_or_gain_would_change_it() -> None:
    holds = claim(0.20, 0.35)
    (found,) = changed_by([holds], -0.06, 0.0)
    assert (found.said, found.would_be) == ("pass", "undecided")
    assert changed_by([holds], -0.04, 0.0) == ()
    assert changed_by([holds], 0.06, 0.0) == ()
    # 10 % of gain seen at 0.47 ohm: an offset of 47 mΩ changes nothing there, ten per cent of 100 Ω does.
    part = claim(100.0, 105.0)
    assert changed_by([part], -0.047, 0.0) == ()
    assert [each.would_be for each in changed_by([part], -0.047, 0.47)] == ["fail"]
    assert changed_by([claim(0.2, 0.35, open=True, measured_ohm=None)], -1.0, 1.0) == ()


def test_two_readings_are_too_few_to_judge_and_a_calibration_is_said_as_it_was_entered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LOOMPROOF_STORE", raising=False)
    kept_for(2, 0.0)
    assert run(["bench", "health", "--store", "kept.db"]) == 4
    said = " ".join(capsys.readouterr().out.split())
    assert "steady" not in said
    assert "Too few readings: of 2 quantities none of them can be judged yet. A chart takes 21 of one" in said
    assert "Calibration of the workshop's meter: no certificate is entered." in said
    meter = Meter(make="Invented", serial="7", calibration="K-12", calibration_due=date(2026, 12, 1))
    for day, told in (
        (date(2026, 11, 30), "due 2026-12-01."),
        (date(2026, 12, 1), "due 2026-12-01."),
        (date(2026, 12, 2), "overdue by 1 day, it was due 2026-12-01."),
        (date(2026, 12, 13), "overdue by 12 days, it was due 2026-12-01."),
    ):
        assert calibration_said("meter", meter, day) == (
            f"Calibration K-12 of the workshop's meter Invented 7: {told}"
        )
    unknown = meter.model_copy(update={"calibration_due": None})
    assert "when it is due is not entered" in calibration_said("meter", unknown, date(2026, 12, 1))


def test_zeros_are_kept_each_one_and_charted(tmp_path: Path, fixtures: Path) -> None:
    table = tmp_path / "adapter.csv"
    done = [loomproof("adapter", "new", fixtures / "tail_lamp", "--to", table)]
    done += [loomproof("bench", "zero", "--bench", "sim:", "--adapter", table) for _ in range(2)]
    assert [each.returncode for each in done] == [0, 0, 0], done[-1].stderr
    first, second = kept_zeros(zeros())
    assert len(first.leads) == 13
    assert (first.wiring, first.serial) == (second.wiring, "SIM000000")
    in_table = {lead.point: lead.lead_ohm for lead in lp.Adapter.read(table).entries}
    assert {lead.point: lead.ohm for lead in second.leads} == pytest.approx(in_table, abs=1e-4)
    assert [each.series.kind for each in bench_health(Archive(str(tmp_path / "kept.db"))).watched] == ["zero"]


def test_leads_zeroed_since_have_the_shift_in_them(fixtures: Path, tmp_path: Path) -> None:
    """A proof whose leads were zeroed after the drift began takes the drift off with them."""
    rng = random.Random(4)
    for day in range(60, 0, -1):
        shift = 0.05 if day <= 20 else 0.0
        leads = tuple(LeadZero(point, 0.03 + shift + rng.gauss(0.0, 0.002), 0.01) for point in (1, 2, 3))
        keep_zero(Zero(*SIMULATED, days_ago(day), "ab" * 32, leads), zeros())
    store = Archive(str(tmp_path / "kept.db"))
    path = fixtures / "tail_lamp"
    fresh = tmp_path / "fresh.csv"
    loomproof("adapter", "new", path, "--to", fresh)
    assert loomproof("bench", "zero", "--bench", "sim:", "--adapter", fresh).returncode == 0
    for adapter in (None, str(fresh)):
        words = () if adapter is None else ("--adapter", adapter)
        done = loomproof(
            "prove", path, "--bench", "sim:", "--out", tmp_path, "--store", tmp_path / "kept.db", *words
        )
        assert done.returncode == 0, done.stderr
    (told,) = bench_health(store).told
    assert told.watched.drift_ohm == pytest.approx(0.10, abs=0.02)
    assert told.runs == 1


def test_a_line_of_before_stays_the_same_line() -> None:
    """A store knows a self-test by its line; one without readings must not come out otherwise."""
    old = SelfTest(*SIMULATED, days_ago(1), "nothing", (Check("stuck inputs", True, "none"),))
    assert "read" not in json.loads(line_of(old))
    new = replace(old, read=(ReferenceRead(1, 2, 100.0, 0.1, None),))
    assert of_line(line_of(new)) == new


def test_days_before_are_left_out_and_too_few_readings_are_said(tmp_path: Path) -> None:
    store = Archive(str(tmp_path / "kept.db"))
    kept_for(80, 0.02)
    since = date.today() - timedelta(days=10)
    found = bench_health(store, since=since)
    assert found.told == ()
    assert re.search(r"no chart yet: 1[01] to come", str(list(found.texts)))
    with pytest.raises(UsageError, match="nothing to draw"):
        found.plot(tmp_path / "x.svg")
    with pytest.raises(UsageError, match="no readings of a bench with 'elsewhere'"):
        bench_health(store, "elsewhere")
    with pytest.raises(UsageError, match=r"x\.gif"):
        bench_health(store).plot(tmp_path / "x.gif")


def test_a_broken_line_of_zeros_is_named_by_its_number(tmp_path: Path) -> None:
    zeros().parent.mkdir(parents=True, exist_ok=True)
    zeros().write_text('{"maker": 3}\n', encoding="utf-8")
    with pytest.raises(InputError, match="line 1 is no zero"):
        bench_health(Archive(str(tmp_path / "kept.db")))


def test_the_command_tells_the_alarm_and_draws_it(tmp_path: Path) -> None:
    kept_for(60, 0.02)
    done = loomproof("bench", "health", "--store", tmp_path / "kept.db", "--plot", tmp_path / "drawn.svg")
    assert done.returncode == 3, done.stderr
    assert "ALARM on" in done.stdout
    assert "false alarms in a year" in done.stdout
    assert "weighted mean" in (tmp_path / "drawn.svg").read_text(encoding="utf-8")
    later = loomproof("bench", "health", "SIM", "--from", f"{NOW + timedelta(days=1):%Y-%m-%d}")
    assert later.returncode == 2
    assert "no readings" in later.stderr


def test_a_reader_that_goes_away_does_not_take_the_alarm_with_it() -> None:
    kept_for(60, 0.02)
    shell = f"set -o pipefail; {sys.executable} -m loomproof bench health | true"
    assert subprocess.run(["bash", "-c", shell], capture_output=True, check=False).returncode == 3


def test_a_self_test_keeps_what_its_references_read() -> None:
    words = ("bench", "selftest", "--bench", "sim:", "--resistor", "1,2,100,0.1", "--resistor", "3,4,0.47")
    assert loomproof(*words).returncode == 0
    (found,) = kept(selftests())
    assert [(one.a, one.b, one.ohm, one.u_ohm) for one in found.read] == [
        (1, 2, 100.0, 0.1),
        (3, 4, 0.47, pytest.approx(0.0047)),  # 1 % where nobody stated it
    ]
    assert all(one.error_ohm is not None and abs(one.error_ohm) < 1.1 for one in found.read)
