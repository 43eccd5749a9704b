"""Proofs in processes of their own, stopped by real signals: what the scanner saw, and what was said."""

from __future__ import annotations

import os

import pytest

from tests.campaign.stopping import runs_of


@pytest.mark.skipif(os.name == "nt", reason="orders to stop are POSIX signals")
def test_real_signals_release_the_scanner_and_the_words_are_true() -> None:
    runs = runs_of(9, seed=7)
    assert [run for run in runs if not (run.released and run.true)] == []
    assert any(not run.finished for run in runs)
