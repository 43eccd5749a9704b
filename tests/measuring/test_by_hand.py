"""A proof by hand from the first volt to the document, a simulated person at the probes."""

from __future__ import annotations

import random
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest

from loomproof.errors import BrokenOffError, JournalError, SafetyError, UsageError
from loomproof.jobs.by_hand import METER
from loomproof.jobs.hand_questions import HandAsked, HandKind, HandReply
from loomproof.jobs.job import Job, Proof
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.records.data_folder import home
from loomproof.results.document import Verdict
from loomproof.results.grade import Grade
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.torture import FIXTURES
from tests.by_hand import BACK, LEAVE_OUT, STOP, AtTheLoom

LAMP = load(FIXTURES / "tail_lamp").loom
ENGINE = load(FIXTURES / "hillclimb_engine").loom


def by_hand(loom: Loom, person: AtTheLoom, address: str = "hand:") -> Proof:
    return Job(loom, address, operator=person).prove().run()


def by_scanner(loom: Loom, faults: Sequence[str], seed: int = 0) -> Proof:
    """The same loom on a scanner that senses and reads no ohms."""
    from urllib.parse import quote

    told = "&".join(f"fault={quote(fault)}" for fault in faults)
    place = next(p for p in FIXTURES.iterdir() if p.is_dir() and load(p).loom.digest == loom.digest)
    return Job(loom, f"sim:?no-ohms&seed={seed}&{told}", loom_path=place).prove().run()


def keys(proof: Proof) -> set[str]:
    return {finding.key for finding in proof.findings}


def test_a_sound_loom_passes_at_connections() -> None:
    person = AtTheLoom(LAMP)
    proof = by_hand(LAMP, person)
    document = proof.document
    assert (document.verdict, document.grade) == (Verdict.PASS, Grade.CONNECTIONS)
    assert document.bench.model == "a multimeter"
    assert not document.bench.simulated
    assert document.bench.points == 13
    assert document.bench.accuracy_ohm is None, "no figure was typed"
    claims = {claim.kind: claim for claim in document.claims}
    assert claims["continuity"].threshold_ohm == 60.0  # above it this meter surely does not beep
    assert claims["isolation"].threshold_ohm == 30.0  # under it it surely does
    assert "a beep, noted by the person" in claims["continuity"].rule
    assert any("beep surely under 30.0 Ω" in text for text in document.not_tested)
    assert any("Isolation above the beep" in text for text in document.not_tested)
    assert person.touches == 39


def test_the_demo_loom_in_so_many_touches() -> None:
    """The person's own count, readings of the two parts with their four touches in it."""
    for address, most in (("hand:", 2000), ("hand:?clips=5", 600)):
        person = AtTheLoom(ENGINE)
        proof = by_hand(ENGINE, person, address)
        assert proof.verdict is Verdict.PASS
        assert person.touches <= most
        last = person.asked[-1]
        assert abs(last.touches - person.touches) <= 4  # what the screen told of it


@pytest.mark.parametrize("clips", ["", "?clips=4"])
@pytest.mark.parametrize(
    "faults",
    [
        ["open W2"],
        ["open LAMP:3"],
        ["short BODY:1 BODY:4"],
        ["swap LAMP:1 LAMP:2"],
        ["open W1", "short LAMP:2 LAMP:3"],
        ["short BODY:1 BODY:2", "short BODY:2 BODY:3"],
    ],
)
def test_it_finds_what_a_scanner_finds(faults: list[str], clips: str) -> None:
    found = by_hand(LAMP, AtTheLoom(LAMP, faults), f"hand:{clips}")
    assert found.verdict is Verdict.FAIL
    assert keys(found) == keys(by_scanner(LAMP, faults))


@pytest.mark.parametrize("seed", range(6))
def test_random_faults_of_a_large_loom(seed: int) -> None:
    """Opens, shorts and exchanged contacts in the demo loom, clips in hand."""
    rng = random.Random(seed)
    wires = [wire.name for wire in ENGINE.wires]
    pairs = [[str(end) for end in rng.sample(ENGINE.cavities, 2)] for _ in range(2)]
    faults = [f"open {rng.choice(wires)}", "short " + " ".join(pairs[0]), "swap " + " ".join(pairs[1])]
    faults = faults[: 1 + seed % 3]
    found = by_hand(ENGINE, AtTheLoom(ENGINE, faults, seed=seed), "hand:?clips=12")
    assert keys(found) == keys(by_scanner(ENGINE, faults, seed))


def test_nets_are_found_as_they_are() -> None:
    """Against the islands that the simulator itself makes of copper and faults."""
    for seed in range(12):
        rng = random.Random(seed)
        wires, cavities = [wire.name for wire in LAMP.wires], list(map(str, LAMP.cavities))
        faults = [f"open {name}" for name in rng.sample(wires, rng.randint(0, 2))]
        faults += ["short " + " ".join(rng.sample(cavities, 2)) for _ in range(rng.randint(0, 2))]
        if seed % 3 == 0:
            faults.append("swap " + " ".join(rng.sample([str(e) for e in LAMP.cavities], 2)))
        person = AtTheLoom(LAMP, faults, seed=seed)
        proof = by_hand(LAMP, person, f"hand:?clips={1 + seed % 6}")
        scanner = Scanner(LAMP, Make(len(LAMP.cavities)), faults=faults, seed=seed)
        islands = {
            frozenset(LAMP.cavities[i.nodes[p]] for p in i.points)
            for i in scanner.state(0.0).islands
            if i.points
        }
        assert set(proof.outcome.measured.groups) == islands, faults


def test_a_slip_is_touched_again() -> None:
    """A touch that missed, and one that bridged two contacts, are asked again before they count."""
    turns = count()

    def slip(asked: HandAsked) -> HandReply | None:
        if asked.kind is HandKind.WHOLE and next(turns) == 0:
            return HandReply(beeped=())
        if asked.kind is HandKind.APART and next(turns) == 3:
            return HandReply(beeped=asked.red[:1])
        return None

    person = AtTheLoom(LAMP, before=slip)
    assert by_hand(LAMP, person).verdict is Verdict.PASS
    assert [asked.kind for asked in person.asked].count(HandKind.AGAIN) >= 2


def test_undo_takes_back_a_wrong_key() -> None:
    """Wrong answers, each taken back at the next question, leave no trace in document or journal."""
    rng = random.Random(4)
    owed = False

    def wrong(asked: HandAsked) -> HandReply | None:
        nonlocal owed
        if owed:
            owed = False
            return BACK
        if asked.kind in (HandKind.WHOLE, HandKind.APART, HandKind.CHAIN) and rng.random() < 0.4:
            owed = True
            return HandReply(beeped=tuple(end for end in asked.red if rng.random() < 0.5))
        return None

    clumsy = by_hand(LAMP, AtTheLoom(LAMP, ["open W2"], before=wrong), "hand:?clips=3")
    sound = by_hand(LAMP, AtTheLoom(LAMP, ["open W2"]), "hand:?clips=3")
    assert keys(clumsy) == keys(sound)
    assert [line.split(b',"t":')[0] for line in clumsy.journal.splitlines()[1:]] == [
        line.split(b',"t":')[0] for line in sound.journal.splitlines()[1:]
    ]


def test_back_at_the_first_question_asks_it_again() -> None:
    turns = count()
    person = AtTheLoom(LAMP, before=lambda asked: BACK if next(turns) == 1 else None)
    assert by_hand(LAMP, person).verdict is Verdict.PASS
    assert person.asked[1] == person.asked[2]


def test_it_stops_and_goes_on_another_day() -> None:
    stopping = AtTheLoom(LAMP, ["open W3"], before=lambda asked: STOP if asked.touches > 15 else None)
    with pytest.raises(BrokenOffError, match=r"stopped after \d+ touches of about 39") as caught:
        by_hand(LAMP, stopping)
    assert "goes on from here" in caught.value.cure
    going_on = AtTheLoom(LAMP, ["open W3"])
    found = by_hand(LAMP, going_on)
    assert going_on.touches < 30
    assert going_on.asked[1].touches > 15
    assert keys(found) == keys(by_hand(LAMP, AtTheLoom(LAMP, ["open W3"])))
    again = AtTheLoom(LAMP, ["open W3"])
    by_hand(LAMP, again)
    assert again.asked[0].touches == 0, "a finished one is not gone on with"


def test_a_run_over_two_days_began_on_the_first_and_ended_on_the_second(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    day, later = datetime(2031, 5, 4, 10, tzinfo=UTC), timedelta(days=1)
    monkeypatch.setattr("loomproof.jobs.by_hand.now", lambda: day)
    with pytest.raises(BrokenOffError):
        by_hand(LAMP, AtTheLoom(LAMP, before=lambda asked: STOP if asked.touches > 15 else None))
    monkeypatch.setattr("loomproof.jobs.by_hand.now", lambda: day + later)
    document = by_hand(LAMP, AtTheLoom(LAMP)).document
    assert document.started == "2031-05-04T10:00:00.000Z"
    assert timedelta(0) <= datetime.fromisoformat(document.ended) - (day + later) < timedelta(hours=1)


def test_ctrl_c_stops_it_as_well() -> None:
    def broken_off(asked: HandAsked) -> HandReply | None:
        if asked.touches > 10:
            raise KeyboardInterrupt
        return None

    with pytest.raises(BrokenOffError, match="nothing is claimed yet"):
        by_hand(LAMP, AtTheLoom(LAMP, before=broken_off))
    assert by_hand(LAMP, AtTheLoom(LAMP)).verdict is Verdict.PASS


def test_what_was_begun_and_is_damaged_is_told() -> None:
    with pytest.raises(BrokenOffError):
        by_hand(LAMP, AtTheLoom(LAMP, before=lambda asked: STOP if asked.touches > 10 else None))
    (kept,) = (home() / "by_hand").iterdir()
    kept.write_bytes(kept.read_bytes() + b"{]\n")
    with pytest.raises(JournalError, match="begun by hand"):
        by_hand(LAMP, AtTheLoom(LAMP))
    assert by_hand(LAMP, AtTheLoom(LAMP), "hand:?anew").verdict is Verdict.PASS


def test_the_journal_works_out_to_the_same_document(tmp_path: Path) -> None:
    for faults in ([], ["short BODY:1 BODY:4"]):
        proof = by_hand(LAMP, AtTheLoom(LAMP, faults), "hand:?clips=4")
        journal = tmp_path / f"{len(faults)}.journal.jsonl"
        journal.write_bytes(proof.journal)
        assert Job(LAMP, "sim:").replay(journal).document == proof.document


def test_a_sweep_that_is_left_out_is_named_and_holds_the_grade_down() -> None:
    turns = count()

    def leave(asked: HandAsked) -> HandReply | None:
        return LEAVE_OUT if asked.may_leave_out and next(turns) == 0 else None

    for address in ("hand:", "hand:?ohms&acc=0.001:0.001"):
        turns = count()
        person = AtTheLoom(LAMP, before=leave)
        proof = by_hand(LAMP, person, address)
        skipped = next(asked for asked in person.asked if asked.may_leave_out)
        assert proof.document.grade is Grade.CONNECTIONS
        named = next(text for text in proof.document.not_tested if "nobody swept" in text)
        assert f"{skipped.black[0]} and {skipped.red[0]}" in named
        assert "never swept" in proof.document.grade_text
        claim = next(
            c for c in proof.document.claims if c.kind == "isolation" and skipped.black[0] in c.cavities
        )
        assert "but those never swept against it" in claim.statement


def test_every_wire_in_ohms_reaches_more() -> None:
    """With a meter of ±0.3 Ω that says its limits, a loom without a part; probes touched together first."""
    person = AtTheLoom(LAMP)
    proof = by_hand(LAMP, person, "hand:?ohms&acc=0.1:0.01")
    assert proof.document.grade is Grade.BENCH
    assert [asked.kind for asked in person.asked].count(HandKind.ZERO) == 1
    assert all(
        c.measured_ohm is not None and c.measured_ohm < 0.3
        for c in proof.document.claims
        if c.kind == "resistance"
    )
    bad = by_hand(LAMP, AtTheLoom(LAMP, ["high 8 W2"]), "hand:?ohms&acc=0.1:0.01")
    assert bad.verdict is Verdict.FAIL
    assert any("W2" in finding.wires for finding in bad.findings)


def test_parts_are_typed() -> None:
    proof = by_hand(ENGINE, AtTheLoom(ENGINE, ["missing R1"]), "hand:?clips=12")
    assert any("R1" in finding.components for finding in proof.findings)
    turned = by_hand(ENGINE, AtTheLoom(ENGINE, ["reversed D1"]), "hand:?clips=12")
    assert any("D1" in finding.components for finding in turned.findings)


def test_the_threshold_is_asked_once() -> None:
    person = AtTheLoom(LAMP)
    by_hand(LAMP, person)
    assert (home() / METER).read_text().strip() == "30-60"

    class Silent(AtTheLoom):
        def beep_limit(self) -> str:
            raise AssertionError("it was asked before")

    by_hand(LAMP, Silent(LAMP))
    (home() / METER).unlink()

    class Ignorant(AtTheLoom):
        def beep_limit(self) -> str:
            return ""

    with pytest.raises(UsageError, match="up to how many ohms the meter beeps"):
        by_hand(LAMP, Ignorant(LAMP))


def test_volts_and_hazards_come_first() -> None:
    class Live(AtTheLoom):
        def read_meter(self) -> float | None:
            return 12.3

    person = Live(LAMP)
    with pytest.raises(SafetyError, match=r"12\.3 V"):
        by_hand(LAMP, person)

    class Unread(AtTheLoom):
        def read_meter(self) -> float | None:
            return None

    unread = Unread(LAMP)
    with pytest.raises(SafetyError):
        by_hand(LAMP, unread)
    assert person.asked == unread.asked == []


def test_a_retest_asks_what_the_repair_can_have_touched() -> None:
    before = by_hand(LAMP, AtTheLoom(LAMP, ["open W2"]))
    touched = [end for finding in before.findings for end in finding.cavities]
    person = AtTheLoom(LAMP)
    found = Job(LAMP, "hand:", operator=person).retest(touched[:1]).run()
    assert found.judgement.verdict is Verdict.PASS
    assert 0 < person.touches < 39
    still = Job(LAMP, "hand:", operator=AtTheLoom(LAMP, ["open W2"])).retest(touched[:1]).run()
    assert still.judgement.verdict is Verdict.FAIL
