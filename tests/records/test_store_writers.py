"""Several writers of one store at once."""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path

from loomproof.records.integrity import check_store
from loomproof.records.keys import Signer
from loomproof.records.store import open_store
from tests.reports.sample import document


def test_several_writers_fork_no_chain(url: str, signer: Signer) -> None:
    """Eight threads with connections of their own: every record is there, in one unbroken chain."""
    open_store(url).close()
    failures: list[BaseException] = []

    def write(number: int) -> None:
        try:
            with open_store(url) as store:
                for turn in range(5):
                    store.seal_run(document(run=f"w{number}-{turn}"), signer)
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=write, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    with open_store(url) as store:
        runs = store.runs()
        assert sorted(run.run for run in runs) == sorted(f"w{n}-{t}" for n in range(8) for t in range(5))
        ordered = sorted(runs, key=lambda run: run.sequence)
        assert [run.sequence for run in ordered] == list(range(1, 41))
        assert [run.previous for run in ordered] == ["", *(run.hash for run in ordered[:-1])]


def test_several_processes_write_one_file(tmp_path: Path, signer: Signer) -> None:
    """Locks between processes are another thing than locks between threads."""
    path = tmp_path / "records.db"
    open_store(str(path)).close()
    (tmp_path / "key").write_bytes(signer.pem())
    program = (
        "import sys; from pathlib import Path\n"
        "from loomproof.records.keys import read_signer; from loomproof.records.store import open_store\n"
        "from tests.reports.sample import document\n"
        "signer = read_signer(Path(sys.argv[2]).read_bytes())\n"
        "with open_store(sys.argv[1]) as store:\n"
        "    for turn in range(10): store.seal_run(document(run=f'{sys.argv[3]}-{turn}'), signer)\n"
    )
    words = [sys.executable, "-c", program, str(path), str(tmp_path / "key")]
    running = [subprocess.Popen([*words, str(n)], cwd=Path(__file__).parents[2]) for n in range(3)]
    assert [process.wait() for process in running] == [0, 0, 0]
    with open_store(str(path)) as store:
        assert check_store(store).troubles == ()
        names = {run.run for run in store.runs()}
    assert names == {f"{n}-{turn}" for n in range(3) for turn in range(10)}


def test_several_processes_may_open_a_new_store_at_once(url: str) -> None:
    failures: list[BaseException] = []

    def first_open() -> None:
        try:
            open_store(url).close()
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=first_open) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
