"""First-pass yield and times to mend, against counts made by hand; and which days and runs are meant."""

from __future__ import annotations

import calendar
import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.errors import UsageError
from loomproof.records.first_pass import standing, yield_of
from loomproof.records.keys import Signer
from loomproof.records.selecting import Wanted, days
from loomproof.records.store import Store, open_store
from loomproof.records.trusted import Trusted, trusted_runs
from loomproof.results.document import Verdict
from tests.reports.sample import document

D = datetime.date


def sealed(store: Store, signer: Signer, *proofs: tuple[str, str, Verdict]) -> tuple[Trusted, ...]:
    """Seal a proof for each serial, end and verdict; return them as they are listed."""
    for number, (serial, ended, verdict) in enumerate(proofs):
        made = document(run=f"r{number}", serial=serial, verdict=verdict, started=ended, ended=ended)
        store.seal_run(made, signer)
    return trusted_runs(store, {signer.public_hex: "me"})


@pytest.fixture
def runs(signer: Signer) -> tuple[Trusted, ...]:
    with open_store("first.db") as store:
        return sealed(
            store,
            signer,
            ("A", "2026-10-31T09:00:00Z", Verdict.FAIL),
            ("A", "2026-11-02T09:00:00Z", Verdict.PASS),  # two days
            ("B", "2026-11-03T09:00:00Z", Verdict.PASS),  # at the first proof
            ("C", "2026-11-04T09:00:00Z", Verdict.UNDECIDED),
            ("C", "2026-11-04T10:00:00Z", Verdict.FAIL),
            ("C", "2026-11-04T11:00:00Z", Verdict.FAIL),
            ("C", "2026-11-04T14:00:00Z", Verdict.PASS),  # four hours since it first failed
            ("D", "2026-11-05T09:00:00Z", Verdict.FAIL),
            ("D", "2026-12-05T09:00:00Z", Verdict.PASS),  # after the month
            ("E", "2026-12-06T09:00:00Z", Verdict.PASS),
        )


@pytest.fixture(autouse=True)
def _here(tmp_path: object, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(str(tmp_path))


def test_a_month_counts_what_happened_in_it(runs: tuple[Trusted, ...]) -> None:
    came = yield_of(runs, D(2026, 11, 1), D(2026, 11, 30))
    assert {item.serial for item in came.items} == {"A", "B", "C", "D"}
    # A was first proved in October; of B, C and D only B passed at once.
    assert (came.started, came.first_pass) == (3, 1)
    assert sorted(came.mended_s) == [4 * 3600.0, 2 * 86_400.0]
    assert came.median_mend_s == (4 * 3600.0 + 2 * 86_400.0) / 2
    assert [item.serial for item in came.open] == ["D"], "what came after the month is not told in it"


def test_all_days_count_all(runs: tuple[Trusted, ...]) -> None:
    came = yield_of(runs)
    assert (came.started, came.first_pass, len(came.mended_s), came.open) == (5, 2, 3, ())
    assert yield_of(()) == yield_of(runs, D(2030, 1, 1))


def test_a_proof_counts_once_as_it_was_last_corrected(signer: Signer) -> None:
    with open_store("corrected.db") as store:
        first = sealed(store, signer, ("wrong", "2026-11-02T09:00:00Z", Verdict.PASS))[0]
        made = document(run="c1", serial="TL-1", verdict=Verdict.PASS, ended="2026-11-02T09:00:00Z")
        again = store.correct(first.run.hash, made, "typed in wrongly", signer)
        made = document(run="c2", serial="TL-2", verdict=Verdict.PASS, ended="2026-11-02T09:00:00Z")
        store.correct(again.run.hash, made, "wrong again", signer)
        runs = trusted_runs(store, {signer.public_hex: "me"})
    assert [(one.run.run, one.run.serial) for one in standing(runs)] == [("c2", "TL-2")]


@pytest.mark.parametrize(
    ("wanted", "serials"),
    [
        (Wanted(first=D(2026, 11, 4), last=D(2026, 11, 4)), "CCCC"),
        (Wanted(last=D(2026, 10, 31)), "A"),
        (Wanted(first=D(2026, 12, 5)), "DE"),
        (Wanted(verdict="undecided"), "C"),
        (Wanted(verdict="pass", grade="wire"), "ABCDE"),
        (Wanted(grade="bench"), ""),
        (Wanted(person="TESTER", bench="scanner 128"), "AABCCCCDDE"),
        (Wanted(person="Mia"), ""),
        (Wanted(simulated=True), ""),
        (Wanted(simulated=False, verdict="undecided"), "C"),
    ],
)
def test_runs_are_chosen_by_what_their_records_say(
    wanted: Wanted, serials: str, runs: tuple[Trusted, ...]
) -> None:
    assert "".join(one.run.serial for one in runs if wanted.takes(one)) == serials


def test_a_record_that_does_not_hold_is_never_left_out(runs: tuple[Trusted, ...]) -> None:
    changed = Trusted(runs[0].run, trouble="changed")
    assert Wanted(person="nobody", verdict="pass").takes(changed)


@given(st.dates(D(1970, 1, 1), D(2999, 12, 31)))
def test_days_months_and_years_are_whole(day: D) -> None:
    assert days(day.isoformat()) == (day, day)
    last = calendar.monthrange(day.year, day.month)[1]
    assert days(f"{day:%Y-%m}") == (day.replace(day=1), day.replace(day=last))
    assert days(f"{day:%Y}") == (D(day.year, 1, 1), D(day.year, 12, 31))
    for form, text in (
        ("DD.MM.YYYY", f"{day:%d.%m.%Y}"),
        ("DD/MM/YYYY", f"{day:%d/%m/%Y}"),
        ("MM/DD/YYYY", f"{day:%m/%d/%Y}"),
        ("DD Mon YYYY", f"{day:%d} {calendar.month_abbr[day.month]} {day:%Y}"),
    ):
        assert days(text, form) == (day, day)
        with pytest.raises(UsageError, match="no day, month or year"):
            days(text)


@pytest.mark.parametrize("text", ["", "today", "2026-02-30", "2026-13", "11.2026", "0000"])
def test_what_is_no_day_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="no day, month or year"):
        days(text)
