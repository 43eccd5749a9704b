"""Seals runs in processes that are killed at their first, second, third … write; prints what was left.

Run with ``dying.c`` built and preloaded; see `test_bad_days`. One line of JSON for each death:
at which write, how many runs the store had before and after, and what its check found.
"""

from __future__ import annotations

import ctypes
import json
import os
import shutil
import sys
from pathlib import Path

from loomproof.records.integrity import check_store
from loomproof.records.keys import new_signer
from loomproof.records.store import open_store
from tests.records.conftest import NOW
from tests.reports.sample import document

MOST_WRITES = 400
JOURNAL = b"journal " * 5000


def main(folder: Path, half: int) -> None:
    """Die at every write of one sealing, each time on a fresh copy of the same store."""
    signer = new_signer(NOW, "0badcafe")
    with open_store(str(folder / "origin.db")) as store:
        store.seal_run(document(run="before", findings=2), signer, JOURNAL)
    for at in range(1, MOST_WRITES):
        for path in folder.glob("copy.db*"):
            path.unlink()
        shutil.copy(folder / "origin.db", folder / "copy.db")
        child = os.fork()
        if child == 0:
            shim = ctypes.CDLL(None)
            shim.arm(ctypes.c_long(at), half)
            with open_store(str(folder / "copy.db")) as store:
                store.seal_run(document(run="during", findings=2), signer, JOURNAL)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        died = os.WIFSIGNALED(status)
        with open_store(str(folder / "copy.db")) as store:
            runs = [run.run for run in store.runs()]
            troubles = list(check_store(store).troubles)
            whole = all(store.journal(run) == JOURNAL for run in runs)
            if at % 8 == 1:
                store.seal_run(document(run="after"), signer)
                troubles += check_store(store).troubles
        print(json.dumps({"at": at, "died": died, "runs": runs, "whole": whole, "troubles": troubles}))
        if not died:
            return


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
