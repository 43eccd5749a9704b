"""A matrix with its meter, and a meter in a hand, in memory: nothing is opened."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import pytest

from loomproof.bench import questions as q
from loomproof.bench.address import HandAddress, parse_address
from loomproof.bench.by_hand import AnswerLog, HandBench
from loomproof.bench.journal.lines import read_capabilities, read_yes_or_no
from loomproof.bench.journal.writing import JournaledBench
from loomproof.bench.matrix import MatrixBench
from loomproof.bench.profile import Profile, parse_profile
from loomproof.bench.seam import Capabilities, Wires
from loomproof.bench.visa import Instrument
from loomproof.errors import UnfitError, UsageError
from tests.bench.test_scanner import Rig

pytestmark = pytest.mark.usefixtures("all_closed")

# -- a matrix and its meter ---------------------------------------------------------------------------

PROFILE = """name = "in memory"
points = 8
channel = "{row}{point:02d}"
rows_a = ["1"]
rows_b = ["2"]
measure = "MEASure:RESistance?"
ohms = [0.0, 1e6]
accuracy = { ohm = 0.1, ratio = 0.01 }
reading_ms = 20
test_current_a = 0.001
test_voltage_v = 12
"""


class Box(Instrument):
    """An instrument that is not there: commands and questions to all boxes stand in one list."""

    def __init__(self, name: str, heard: list[tuple[str, str]], both_ohm: float = 0.05) -> None:
        self.name = name
        self.heard = heard
        self.both_ohm = both_ohm
        self.is_closed = False

    def tell(self, command: str) -> None:
        self.heard.append((self.name, command))

    def ask(self, question: str) -> str:
        self.heard.append((self.name, question))
        if question == "*IDN?":
            return f"Invented Instruments,{self.name},M7,2.1"
        if question == "*OPC?":
            return "1"
        if question == "SYSTem:ERRor?":
            return '0,"No error"'
        last = [told for _, told in self.heard if told.startswith("ROUTe:")][-1]
        return "9.9E37" if last == "ROUTe:OPEN:ALL" else repr(self.both_ohm)

    def close(self) -> None:
        self.is_closed = True


def boxes(both_ohm: float = 0.05) -> tuple[Box, Box, MatrixBench]:
    heard: list[tuple[str, str]] = []
    matrix, meter = Box("matrix", heard), Box("meter", heard, both_ohm)
    bench = MatrixBench(matrix, meter, parse_profile(PROFILE, "x"), "visa:test", wait=lambda _: None)
    return matrix, meter, bench


def test_a_matrix_that_is_met_has_nothing_closed() -> None:
    """Whoever used it before may have left crosspoints closed."""
    matrix, _, bench = boxes()
    assert [told for name, told in matrix.heard if name == "matrix" and told.startswith("ROUTe")] == [
        "ROUTe:OPEN:ALL"
    ]
    bench.close()


def test_the_matrix_says_that_it_has_closed_before_the_meter_reads() -> None:
    matrix, _, bench = boxes()
    assert bench.resistance(1, 2) == 0.05
    heard = matrix.heard
    reads = [k for k, (_, told) in enumerate(heard) if told == "MEASure:RESistance?"]
    assert len(reads) == 5, "four to try the meter, and the one asked for"
    for k in reads:
        assert heard[k - 2 : k] == [("matrix", "*OPC?"), ("matrix", "SYSTem:ERRor?")]
    bench.close()


@pytest.mark.parametrize(("wires", "closed"), [(2, "101,203"), (4, "101,301,203,403")])
def test_the_sensing_rows_are_closed_for_four_wires_alone(wires: Wires, closed: str) -> None:
    heard: list[tuple[str, str]] = []
    box = Box("matrix", heard)
    text = PROFILE.replace('["1"]', '["1", "3"]').replace('["2"]', '["2", "4"]')
    text += 'measure_four = "MEASure:FRESistance?"\naccuracy_four = { ohm = 0.01, ratio = 0.01 }\n'
    bench = MatrixBench(box, box, parse_profile(text, "x"), "visa:test", wait=lambda _: None)
    bench.resistance(1, 4, wires)
    asked = {2: "MEASure:RESistance?", 4: "MEASure:FRESistance?"}[wires]
    assert [told for _, told in heard if told.startswith("ROUTe:CLOSe")][-1] == f"ROUTe:CLOSe (@{closed})"
    assert [told for _, told in heard if told.startswith("MEAS")][-1] == asked
    bench.close()


@pytest.mark.parametrize("own", [False, True])
def test_every_box_is_named_and_given_back(own: bool) -> None:
    """An LCR meter is named beside the meter where it is a box of its own."""
    heard: list[tuple[str, str]] = []
    matrix, meter, lcr = (Box(name, heard) for name in ("matrix", "meter", "LCR"))
    profile = parse_profile(PROFILE, "x")
    bench = MatrixBench(matrix, meter, profile, "visa:test", lcr=lcr if own else None, wait=lambda _: None)
    assert [key for key, _ in bench.capabilities().other] == ["meter", "profile"] + ["LCR meter"] * own
    bench.close()
    assert (matrix.is_closed, meter.is_closed, lcr.is_closed) == (True, True, own)


def test_a_matrix_settles_for_the_milliseconds_of_its_profile_before_each_reading() -> None:
    heard: list[tuple[str, str]] = []
    waited_s: list[float] = []
    box = Box("matrix", heard)
    profile = parse_profile(PROFILE + "settle_ms = 25\n", "x")
    bench = MatrixBench(box, box, profile, "visa:test", wait=waited_s.append)
    bench.resistance(1, 2)
    assert waited_s == [0.025] * 5, "four to try the meter, and the one asked for"
    bench.close()


@pytest.mark.parametrize(
    ("both_ohm", "says"),
    [
        (0.1009, None),  # 0.1 Ω and 1 % of the reading: 0.101009 Ω at the most
        (0.102, "promises 0.101 ohm at the most"),
        (999.0, "promises 10.1 ohm at the most"),
        (1000.0, "does not follow the matrix: it reads 1000 ohm with both buses on point 1"),
    ],
)
def test_two_buses_on_one_point_read_nought_within_the_limits_of_error(
    both_ohm: float, says: str | None
) -> None:
    _, _, bench = boxes(both_ohm)
    if says is None:
        assert bench.resistance(1, 2) == both_ohm
    else:
        with pytest.raises(UnfitError, match=says):
            bench.resistance(1, 2)
    bench.close()


def test_crosspoints_are_held_apart_up_to_the_last_point_and_not_beyond() -> None:
    """Rows 1 and 11 and points without leading noughts: row 1, point 11 and row 11, point 1 are both 111."""

    def made(points: int) -> Profile:
        text = PROFILE.replace('rows_b = ["2"]', 'rows_b = ["11"]').replace("{point:02d}", "{point}")
        return parse_profile(text.replace("points = 8", f"points = {points}"), "x")

    assert made(10).points == 10
    with pytest.raises(UsageError, match="row 1, point 11 and that of row 11, point 1 one name, '111'"):
        made(11)


def test_a_crosspoint_is_named_by_its_point_or_by_the_column_before_it() -> None:
    """Columns count from 0: point 1 is in column 0."""
    profile = parse_profile(PROFILE.replace("{point:02d}", "/{column}/{point:02d}"), "x")
    assert [profile.crosspoint("2", point) for point in (1, 8)] == ["2/0/01", "2/7/08"]


# -- a meter in a hand --------------------------------------------------------------------------------


def test_a_hand_meter_has_these_limits_where_nobody_states_its_own() -> None:
    """Common practice: continuity at 50 Ω by a factor of two; at most 3 mA, and a 9 V battery block."""
    plain = HandBench(HandAddress())
    able = plain.capabilities()
    assert (able.beep_ohm, able.test_current_a, able.test_voltage_v) == ((25.0, 100.0), 0.003, 9.0)
    described = HandBench(HandAddress((30.0, 60.0)))
    assert described.capabilities().beep_ohm == (30.0, 60.0)
    assert (able.clips, Capabilities(8).clips) == (0, 0)
    assert plain.statistics().round_trips == 1, "that question, and none before it"


def test_time_goes_on_where_the_last_answer_stood_and_is_kept_to_the_millisecond() -> None:
    log = AnswerLog()
    now = [50.0]
    bench = HandBench(HandAddress())
    bench.attach(lambda _: 1.0, log, lambda: now[0])
    for after_s, elapsed_s in ((1.23456, 1.235), (2.0, 2.0)):
        now[0] = 50.0 + after_s
        bench.resistance(1, 2)
        assert bench.elapsed_s == elapsed_s
    assert [line["t"] for line in log.answers] == [1.235, 2.0]
    bench.close()
    again = HandBench(HandAddress())
    now[0] = 900.0
    again.attach(lambda _: 1.0, log, lambda: now[0])
    for _ in range(2):
        again.resistance(1, 2)
    assert again.elapsed_s == 2.0
    now[0] = 903.0
    again.resistance(1, 4)
    assert again.elapsed_s == 5.0
    assert log.answers[-1] == {"ask": q.plain(q.Resistance(1, 4)), "answer": 1.0, "t": 5.0}
    again.close()


@pytest.mark.parametrize(
    ("said", "accuracy"), [("0:0", (0.0, 0.0)), ("999.9:0.99", (999.9, 0.99)), ("1000:0.1", None)]
)
def test_limits_of_error_of_a_hand_meter_are_read_within_reason(
    said: str, accuracy: tuple[float, float] | None
) -> None:
    if accuracy is None:
        with pytest.raises(UsageError, match="is no ohms and ratio"):
            parse_address(f"hand:?acc={said}")
    else:
        where = parse_address(f"hand:?acc={said}")
        assert isinstance(where, HandAddress)
        assert where.accuracy == accuracy


def test_nobody_touches_an_end_where_nobody_was_asked_to(tmp_path: Path) -> None:
    bench = JournaledBench(Rig().bench, tmp_path / "journal.jsonl")
    assert bench.touched("P1:1") is False
    bench.close()


def test_an_answer_is_with_the_disk_before_it_counts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the system is told to put on the disk holds the answer whole."""
    on_disk: list[bytes] = []
    path = tmp_path / "log.jsonl"
    monkeypatch.setattr("os.fsync", lambda _: on_disk.append(path.read_bytes()))
    log = AnswerLog(path, {"loom": "lamp"})
    log.begin("2031-05-04T10:00:00+00:00")
    log.add(q.plain(q.Sweep(1, 6)), ["#H2"], 1.0)
    assert [len(read.splitlines()) for read in on_disk] == [1, 2]
    assert on_disk[-1].endswith(b'"answer":["#H2"],"t":1.0}\n')


@pytest.mark.parametrize("said", [True, False])
def test_whether_wires_are_read_in_ohms_stands_in_a_header_as_yes_or_no(said: bool) -> None:
    """Headers of earlier runs have none of it, and are read; their benches read wires in ohms."""
    plain = json.loads(json.dumps(asdict(HandBench(HandAddress(ohms=said)).capabilities())))
    assert read_capabilities(plain).wires_in_ohms is said
    with pytest.raises(ValueError, match="wires_in_ohms is true or false"):
        read_capabilities({**plain, "wires_in_ohms": "yes"})
    del plain["wires_in_ohms"]
    assert read_capabilities(plain).wires_in_ohms is True


def test_what_a_person_answered_is_yes_or_no() -> None:
    assert [read_yes_or_no(said) for said in (True, False)] == [True, False]
    for said in (None, 1, "yes"):
        with pytest.raises(ValueError, match="true or false was expected"):
            read_yes_or_no(said)
