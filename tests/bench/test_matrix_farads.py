"""Capacitance by a matrix: with the meter's own range, or an LCR meter on rows of its own."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from loomproof.bench.interface import Bench
from loomproof.bench.opening import open_bench
from loomproof.bench.profile import parse_profile, shipped_text
from loomproof.bench.seam import CapacitanceAccuracy, point_set
from loomproof.errors import LinkError, UnfitError, UsageError
from tests.bench.instruments import Matrix, served

Farads = Callable[[frozenset[int], frozenset[int]], float]
TWO = shipped_text("generic-matrix-two-wire")
OWN_RANGE = """
measure_farads = "MEASure:CAPacitance?"
farads = [0, 1e-6]
accuracy_farads = { farad = 3e-12, ratio = 0.01 }
spread_farads = 1e-12
"""
LCR = OWN_RANGE.replace("MEASure:CAPacitance?", "FETCh?") + (
    'rows_farads = ["5", "6"]\nsetup_farads = ["FUNCtion:IMPedance CPG"]\n'
)

pytestmark = pytest.mark.usefixtures("all_closed")


def no_path(_a: frozenset[int], _b: frozenset[int]) -> float:
    return math.inf


def plates(a: frozenset[int], b: frozenset[int]) -> float:
    """Ten picofarads for each pair of points, and 40 of the matrix itself."""
    return 40e-12 + 10e-12 * len(a) * len(b)


class Farading(Matrix):
    """A matrix, and what reads capacitance on two of its rows; a short reads over range, below zero."""

    def __init__(self, farads: Farads, rows: tuple[int, int]) -> None:
        super().__init__(no_path)
        self.farads = farads
        self.rows = rows
        self.seen: list[tuple[int, int]] = []
        self.short = "-9.9E37"
        self.deaf_to_points = False

    def obey(self, line: str) -> str | None:
        if line == "MEASure:CAPacitance?":
            return self.told(self)
        return super().obey(line)

    def told(self, switched: Matrix) -> str:
        high, low = (frozenset(p for r, p in switched.closed if r == row) for row in self.rows)
        self.seen = sorted(switched.closed)
        if self.deaf_to_points:
            return "1.0E-12"
        if high & low:
            return self.short
        return f"{self.farads(high, low):.5E}"


class Lcr(Matrix):
    """An LCR meter: capacitance, conductance and a status, of what the matrix joins to its rows."""

    def __init__(self, switched: Farading) -> None:
        super().__init__(no_path)
        self.switched = switched

    def obey(self, line: str) -> str | None:
        if line == "FETCh?":
            return self.switched.told(self.switched) + ",+1.0E-09,+0"
        if line == "*IDN?":
            return "Invented Instruments,Bridge,L3,1.0"
        if line.startswith("FUNCtion:"):
            self.heard.append(line)
            return None
        return super().obey(line)


@contextmanager
def bench(matrix: Farading, folder: Path, more: str, lcr: Matrix | None = None) -> Iterator[Bench]:
    profile = folder / "mine.toml"
    profile.write_text(TWO + more, encoding="utf-8")
    with served(matrix) as resource, served(lcr or matrix) as other:
        beside = f"&lcr={other}" if lcr else ""
        with open_bench(f"visa:{resource}?profile={profile}{beside}") as opened:
            yield opened


def test_the_meters_own_range(tmp_path: Path) -> None:
    matrix = Farading(plates, (1, 2))
    with bench(matrix, tmp_path, OWN_RANGE) as opened:
        able = opened.capabilities()
        assert (able.farads, able.farad_spread) == ((0.0, 1e-6), 1e-12)
        assert able.farad_accuracy == CapacitanceAccuracy(3e-12, 0.01)
        assert opened.capacitance(point_set([1]), point_set([2])) == pytest.approx(50e-12)
        assert opened.capacitance(point_set([1, 3]), point_set([2, 4, 5])) == pytest.approx(100e-12)
        assert matrix.seen == [(1, 1), (1, 3), (2, 2), (2, 4), (2, 5)]
        assert not matrix.closed
        assert opened.resistance(1, 2) == math.inf


def test_an_lcr_meter_on_rows_of_its_own(tmp_path: Path) -> None:
    matrix = Farading(plates, (5, 6))
    lcr = Lcr(matrix)
    with bench(matrix, tmp_path, LCR, lcr) as opened:
        assert lcr.heard.count("FUNCtion:IMPedance CPG") == 1
        assert opened.capacitance(point_set([1, 3]), point_set([2])) == pytest.approx(60e-12)
        assert matrix.seen == [(5, 1), (5, 3), (6, 2)]
        assert ("LCR meter", "Invented Instruments Bridge L3 1.0") in opened.capabilities().other
        opened.confirm()
        lcr.obey = lambda line: "Others,Bridge,L4,1.0" if line == "*IDN?" else Matrix.obey(lcr, line)  # type: ignore[method-assign]
        with pytest.raises(UnfitError, match="another LCR meter"):
            opened.confirm()


@pytest.mark.parametrize(
    ("told", "read"), [(9.9e37, math.inf), (2e-6, math.inf), (9.91e37, None), (-2e-13, -2e-13)]
)
def test_over_range_no_number_and_a_zero_taken_off_too_much(
    tmp_path: Path, told: float, read: float | None
) -> None:
    matrix = Farading(lambda a, b: told if a else 1e-12, (1, 2))
    with bench(matrix, tmp_path, OWN_RANGE) as opened:
        assert opened.capacitance(1, 2) == read


def test_what_conducts_is_no_capacitance(tmp_path: Path) -> None:
    matrix = Farading(lambda a, b: -9.9e37 if a else 1e-12, (1, 2))
    with bench(matrix, tmp_path, OWN_RANGE) as opened:
        assert opened.capacitance(1, 2) is None


def test_a_meter_that_is_not_on_its_rows_is_refused(tmp_path: Path) -> None:
    matrix = Farading(plates, (1, 2))
    matrix.deaf_to_points = True
    with bench(matrix, tmp_path, OWN_RANGE) as opened, pytest.raises(UnfitError, match="does not follow"):
        opened.capacitance(1, 2)
    assert not matrix.closed
    over = Farading(lambda a, b: 9.9e37, (1, 2))
    with bench(over, tmp_path, OWN_RANGE) as opened, pytest.raises(UnfitError, match="nothing closed"):
        opened.capacitance(1, 2)


@pytest.mark.parametrize(("short_pf", "refused"), [(204.0, True), (206.0, False)])
def test_a_short_reads_otherwise_where_it_differs_by_more_than_both_errors(
    tmp_path: Path, short_pf: float, refused: bool
) -> None:
    """200 pF with nothing closed, to ±(3 pF + 1 %): 5 pF more or less may be the same."""
    matrix = Farading(lambda a, b: 200e-12 + (10e-12 if a and b else 0.0), (1, 2))
    matrix.short = f"{short_pf * 1e-12:.5E}"
    with bench(matrix, tmp_path, OWN_RANGE) as opened:
        if refused:
            with pytest.raises(UnfitError, match="does not follow"):
                opened.capacitance(1, 2)
        else:
            assert opened.capacitance(1, 2) == pytest.approx(210e-12)


def test_an_answer_without_a_number_is_an_error(tmp_path: Path) -> None:
    matrix = Farading(plates, (1, 2))
    matrix.short = "OVLD"
    with bench(matrix, tmp_path, OWN_RANGE) as opened, pytest.raises(LinkError, match="without a reading"):
        opened.capacitance(1, 2)
    assert not matrix.closed


def test_a_matrix_that_has_no_such_range_says_so(tmp_path: Path) -> None:
    matrix = Farading(plates, (1, 2))
    with bench(matrix, tmp_path, "") as opened, pytest.raises(UnfitError, match="capacitance"):
        opened.capacitance(1, 2)
    with pytest.raises(UsageError, match="no rows that lead to it"), bench(matrix, tmp_path, "", Lcr(matrix)):
        pass


@pytest.mark.parametrize(
    ("more", "wrong"),
    [
        ('measure_farads = "X?"', "needs farads"),
        ('measure_farads = "X?"\nfarads = [0, 1e-6]', "needs accuracy_farads"),
        ("farads = [0, 1e-6]", "farads means nothing"),
        ("spread_farads = 1e-12", "spread_farads means nothing"),
        (OWN_RANGE + 'rows_farads = ["5"]', "list of two rows"),
        (OWN_RANGE + 'rows_farads = ["1", "6"]', "name a row twice"),
        (OWN_RANGE.replace("farad = 3e-12", "ohm = 3e-12"), "accuracy_farads is"),
        (OWN_RANGE.replace("[0, 1e-6]", "[1e-6, 0]"), "farads is"),
    ],
)
def test_a_profile_that_cannot_be_meant(more: str, wrong: str) -> None:
    with pytest.raises(UsageError, match=wrong):
        parse_profile(TWO + more, "mine.toml")
