"""A run is kept or not, and the words say which: orders to stop, deaths and full disks while it is sealed."""

from __future__ import annotations

import errno
import json
import os
import signal
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from loomproof.cli.main import run
from loomproof.records.store import open_store
from loomproof.screens.signals import held

Output = pytest.CaptureFixture[str]

STEPS = (
    ("loomproof.records.store.Store.seal_run", "seal"),
    ("loomproof.records.inserting._insert_findings", "rows"),
    ("loomproof.jobs.keep.json_of", "results"),
    ("loomproof.jobs.certificate.issue", "certificate"),
    ("loomproof.reports.certificate.certificate_pdf", "page"),
    ("loomproof.records.pdf_signature.sign_pdf", "signature"),
    ("loomproof.screens.printing.show", "verdict"),
)
"""Where between the last reading and the end of the command something may come, first to last."""
SEALED_AFTER = 2
"""How many of these stand before the record is in the store."""


class Killed(BaseException):
    """Stands for the death of the process: nothing of the program catches it."""


def strike(monkeypatch: pytest.MonkeyPatch, where: str, blow: Callable[[], None], *, after: bool) -> None:
    """Have ``blow`` fall just before or just after one function does its work."""
    module, _, name = where.rpartition(".")
    holder: Any
    try:
        holder = __import__(module, fromlist=[name])
    except ModuleNotFoundError:
        module, _, kind = module.rpartition(".")
        holder = getattr(__import__(module, fromlist=[kind]), kind)
    inner = getattr(holder, name)

    def struck(*words: Any, **named: Any) -> Any:
        if not after:
            blow()
        done = inner(*words, **named)
        if after:
            blow()
        return done

    monkeypatch.setattr(holder, name, struck)


def prove(fixtures: Path, out: Path, fault: str = "") -> int:
    return run(["prove", str(fixtures / "tail_lamp"), "--bench", f"sim:{fault}", "--out", str(out)])


def sealed() -> list[str]:
    with open_store() as store:
        return [kept.run for kept in store.runs()]


def claimed(out: Path) -> set[str]:
    """Runs of which a file beside the journal is there, under its name or half written."""
    return {path.name.split(".")[0].split("_")[0] for path in out.iterdir() if ".journal." not in path.name}


ORDERS = [
    *((where, False, signal.SIGINT) for where, _ in STEPS),
    *((STEPS[at][0], True, signal.SIGINT) for at in (0, 3, 6)),
    *((STEPS[0][0], False, number) for number in (signal.SIGTERM, signal.SIGHUP)),
]


@pytest.mark.parametrize(("where", "after", "number"), ORDERS)
def test_an_order_to_stop_after_the_last_reading_changes_no_verdict(
    where: str,
    after: bool,
    number: signal.Signals,
    fixtures: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: Output,
) -> None:
    strike(monkeypatch, where, lambda: os.kill(os.getpid(), number), after=after)
    assert prove(fixtures, tmp_path, "?fault=open%20W1") == 1
    said = capsys.readouterr()
    (name,) = sealed()
    assert "FAIL" in said.out
    assert "nothing is claimed" not in said.err
    assert "stopped" not in said.err
    assert json.loads((tmp_path / f"{name}.results.json").read_text())["verdict"] == "fail"
    if not list(tmp_path.glob(f"{name}_*.fail.pdf")):
        assert "The run is kept" in said.err
        assert f"loomproof certificate {name}" in said.err
        assert run(["certificate", name, "-o", str(tmp_path / "c.pdf")]) == 0
    assert signal.getsignal(number) is not signal.SIG_IGN


@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
@pytest.mark.parametrize("step", range(len(STEPS)), ids=[step for _, step in STEPS])
def test_no_file_outlives_a_run_that_was_not_sealed(
    step: int, after: bool, fixtures: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Output
) -> None:
    def die() -> None:
        raise Killed

    with monkeypatch.context() as patch:
        strike(patch, STEPS[step][0], die, after=after)
        with pytest.raises(Killed):
            prove(fixtures, tmp_path)
    assert claimed(tmp_path) <= set(sealed())
    assert len(sealed()) == (0 if step < SEALED_AFTER and not (step == 0 and after) else 1)


@pytest.mark.parametrize("ending", [".results.json", ".record.json", ".pdf"])
def test_a_finished_proof_shows_its_verdict_whatever_happens_to_its_files(
    ending: str, fixtures: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Output
) -> None:
    from loomproof.loom import writing

    whole = writing.put

    def full(path: Path, content: bytes, *, private: bool = False) -> None:
        if path.name.endswith(ending):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        whole(path, content, private=private)

    with monkeypatch.context() as patch:
        patch.setattr(writing, "put", full)
        assert prove(fixtures, tmp_path) == 0
    said = capsys.readouterr()
    (name,) = sealed()
    assert "PASS" in said.out
    assert "cannot be written: No space left" in said.err
    assert f"sealed and kept all the same. loomproof certificate {name}" in " ".join(said.err.split())
    assert run(["certificate", name, "-o", str(tmp_path / "c.pdf")]) == 0
    assert run(["verify", str(tmp_path / "c.pdf")]) == 0


def test_a_run_that_cannot_be_sealed_says_where_its_readings_are(
    fixtures: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Output
) -> None:
    from loomproof.errors import StoreError

    def full() -> None:
        raise StoreError("the disk is full", cure="Make room.")

    strike(monkeypatch, "loomproof.records.store.Store.seal_run", full, after=False)
    assert prove(fixtures, tmp_path) == 3
    said = capsys.readouterr()
    assert "finished and could not be kept: the disk is full" in said.err
    assert claimed(tmp_path) == set()
    (journal,) = tmp_path.glob("*.journal.jsonl")
    assert str(journal) in "".join(said.err.splitlines())
    assert run(["replay", str(journal), str(fixtures / "tail_lamp")]) == 0


def test_orders_are_held_in_the_block_only() -> None:
    before = signal.getsignal(signal.SIGINT)
    with held() as orders:
        assert not orders.stop
        os.kill(os.getpid(), signal.SIGINT)
        assert orders.stop
    assert signal.getsignal(signal.SIGINT) is before


def test_a_terminal_that_was_closed_is_no_failing_loom(
    fixtures: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def closed() -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    strike(monkeypatch, "loomproof.screens.printing.show", closed, after=False)
    assert prove(fixtures, tmp_path) == 3
    assert claimed(tmp_path) == set(sealed())
