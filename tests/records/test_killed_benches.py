"""A bench's process that is killed (SIGKILL) anywhere between sealing and the server's answer."""

from __future__ import annotations

import os
import signal
import sys

import pytest

from loomproof.jobs.handing_over import check_all, hand_over_now
from loomproof.jobs.keep import seal
from loomproof.records.data_folder import home
from loomproof.records.outbox import open_outbox, server_of
from loomproof.records.queries import sealed_runs
from loomproof.records.store import open_store
from tests.records import postgres
from tests.records.striking import Lines
from tests.reports.sample import document

DEATHS = 8


def lines_of(run: str, address: str, at: int = 0) -> int:
    """Seal a run as the commands do, and die at the ``at``-th line of ours; return how many lines it took."""
    with Lines(at, lambda: os.kill(os.getpid(), signal.SIGKILL)) as lines:
        seal(document(run=run), b"", address)
    return lines.count


@pytest.mark.skipif(not hasattr(os, "fork"), reason="a process is killed as POSIX systems have it")
def test_a_bench_killed_anywhere_keeps_each_run_once(server: postgres.Server) -> None:
    address = server.database()
    seal(document(run="first"), b"", address)
    before = sys.gettrace()
    lines = lines_of("counted", address)
    runs = ["first", "counted"]
    for number in range(DEATHS):
        run = f"r{number}"
        runs.append(run)
        child = os.fork()
        if child == 0:
            lines_of(run, address, at=lines * (2 * number + 1) // (2 * DEATHS))
            os._exit(0)
        _, status = os.waitpid(child, 0)
        assert os.WIFSIGNALED(status), f"{run}: it ended before it was killed"
        # Whoever comes back looks what is sealed, and does what is not.
        with open_outbox(server_of(address), home()) as own:
            sealed = sealed_runs(own.store, [run])
        if not sealed:
            seal(document(run=run), b"", address)
    sys.settrace(before)
    assert not hand_over_now(address).waiting
    assert check_all(address, []).troubles == ()
    with open_store(address) as store:
        kept = store.runs()
    assert sorted(run.run for run in kept) == sorted(runs)
    assert len({run.bench for run in kept}) == 1
