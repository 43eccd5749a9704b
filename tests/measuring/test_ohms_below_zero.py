"""What reads less than nothing proves nothing: neither a wrong lead table nor a meter's lost zero passes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.bench.adapter import Lead, in_order, write_adapter
from loomproof.loom.model import End
from loomproof.loom.reading import load
from loomproof.results.measured import Decision
from tests.cli.running import loomproof
from tests.cli.test_prove import results

pytestmark = pytest.mark.usefixtures("simulated_within")

HIGH = "high%201.5%20W3"


def table(loom: Path, file: Path, lead_ohm: float, u_ohm: float = 0.0, zeroed: str = "") -> Path:
    """Write the in-order adapter table with these figures in every row."""
    made = in_order(load(loom).loom.cavities, "leads")
    entries = tuple(replace(e, lead_ohm=lead_ohm, lead_u_ohm=u_ohm, zeroed=zeroed) for e in made.entries)
    write_adapter(replace(made, entries=entries), file)
    return file


def test_a_figure_that_somebody_wrote_down_is_known_to_no_better_than_itself() -> None:
    end = End("X1", "1")
    assert Lead(1, end, 0.9).standard_u_ohm(0.03) == pytest.approx(0.9 / 3**0.5)
    assert Lead(1, end, 0.01).standard_u_ohm(0.03) == 0.03
    assert Lead(1, end).standard_u_ohm(0.0) == 0.0
    assert Lead(1, end, 0.9, 0.04).standard_u_ohm(0.03) == 0.02, "expanded to standard"
    assert Lead(1, end, 0.9, 0.0, "2026-11-25").standard_u_ohm(0.03) == 0.0


@pytest.mark.parametrize("fault", ["", f"&fault={HIGH}"])
def test_leads_said_to_be_higher_than_they_are_stop_the_proof(
    fixtures: Path, tmp_path: Path, fault: str
) -> None:
    """Two times 0.9 ohm taken off leads of nothing would hide a joint of 1.5 ohm."""
    loom = fixtures / "tail_lamp"
    file = table(loom, tmp_path / "leads.csv", 0.9, 0.02, "2026-11-25")
    words = ("--bench", f"sim:?seed=3{fault}", "--adapter", file, "--out", tmp_path / "out")
    done = loomproof("prove", loom, *words)
    assert done.returncode == 3, done.stdout
    assert "less than nothing is left" in done.stderr
    assert "loomproof bench zero" in done.stderr
    assert not list((tmp_path / "out").glob("*.record.json")), "nothing is claimed"


def test_leads_that_were_never_zeroed_leave_limits_undecided(fixtures: Path, tmp_path: Path) -> None:
    """0.9 ohm, known to 1.8 ohm (k = 2): the proof may claim nothing below that uncertainty."""
    loom = fixtures / "tail_lamp"
    file = table(loom, tmp_path / "leads.csv", 0.9, 1.8)
    bench, out = f"sim:?fault={HIGH}", tmp_path / "out"
    loomproof("prove", loom, "--bench", bench, "--adapter", file, "--out", out)
    claims = [claim for claim in results(out).claims if claim.measured_ohm is not None and claim.limit_ohm]
    # Two leads: U = sqrt 2 * 1.8 = 2.55 ohm.
    assert claims
    assert all(claim.uncertainty_ohm and claim.uncertainty_ohm > 2.54 for claim in claims)
    assert not any(claim.kind == "resistance" and claim.decision is Decision.PASS for claim in claims)
    assert results(out).adapter.leads_ohm == (0.9, 0.9)
    assert results(out).adapter.leads_zeroed == ""
