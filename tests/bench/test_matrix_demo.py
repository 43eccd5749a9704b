"""Switch matrix and meter, without sense, prove a loom of 127 cavities."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.bench.opening import open_bench
from loomproof.bench.seam import point_set
from loomproof.loom.reading import load
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.device import Clock
from tests.bench.instruments import Matrix, served
from tests.bench.torture import FIXTURES, run

PROFILE = """
name = "128 points, four wires"
points = 128
channel = "{row}{point:03d}"
rows_a = ["1", "3"]
rows_b = ["2", "4"]
close = "ROUTe:CLOSe (@{channels})"
open_all = "ROUTe:OPEN:ALL"
settle_ms = 0
measure = "MEASure:RESistance?"
measure_four = "MEASure:FRESistance?"
ohms = [0.001, 1e8]
accuracy = { ohm = 0.2, ratio = 0.0005 }
accuracy_four = { ohm = 0.002, ratio = 0.0005 }
reading_ms = 40
test_current_a = 0.001
test_voltage_v = 12
"""


@pytest.mark.parametrize(("faults", "verdict"), [((), "pass"), (("open W45",), "fail")])
def test_the_demo_loom(tmp_path: Path, faults: tuple[str, ...], verdict: str) -> None:
    loom = load(FIXTURES / "hillclimb_engine").loom
    on_it = Scanner(loom, Make(len(loom.cavities)), faults=faults)
    profile = tmp_path / "matrix.toml"
    profile.write_text(PROFILE, encoding="utf-8")

    def ohms(a: frozenset[int], b: frozenset[int]) -> float:
        return on_it.true_resistance(point_set(a), point_set(b), 0.0)

    with served(Matrix(ohms)) as resource, open_bench(f"visa:{resource}?profile={profile}") as opened:
        document = run(loom, opened, Clock(), meter_v=0.0).document
    assert document.verdict == verdict
    assert document.bench.sense_ohm is None
