"""Where a command writes: a link stays a link, and a pipe is written into, not put aside for a file."""

from __future__ import annotations

import json
import os
import stat
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from loomproof.errors import StoreError, UsageError
from loomproof.jobs.files import write_file as write_record
from loomproof.loom.writing import write_file as write_loom
from tests.cli.running import loomproof

Write = Callable[[Path, bytes], None]


def over(path: Path, data: bytes) -> None:
    write_loom(path, data, over=True)


@pytest.fixture(params=[write_record, over], ids=["record", "loom"])
def write(request: pytest.FixtureRequest) -> Write:
    found: Write = request.param
    return found


def test_a_link_stays_and_its_file_is_written(write: Write, tmp_path: Path) -> None:
    there = tmp_path / "there"
    there.mkdir()
    (there / "file").write_bytes(b"before")
    link, dangling = tmp_path / "link", tmp_path / "dangling"
    link.symlink_to(there / "file")
    dangling.symlink_to(Path("there") / "new")
    write(link, b"after")
    write(dangling, b"new")
    assert link.is_symlink()
    assert dangling.is_symlink()
    assert (there / "file").read_bytes() == b"after"
    assert (there / "new").read_bytes() == b"new"
    assert sorted(path.name for path in there.iterdir()) == ["file", "new"]


def test_a_link_in_a_circle_and_a_folder_are_told(write: Write, tmp_path: Path) -> None:
    circle = tmp_path / "circle"
    circle.symlink_to(circle)
    for path in (circle, tmp_path):
        with pytest.raises((StoreError, UsageError), match="cannot be written"):
            write(path, b"")
    assert circle.is_symlink()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no named pipes")
def test_a_pipe_is_written_into(write: Write, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_bytes()), daemon=True)
    reader.start()
    write(pipe, b"whole")
    reader.join(10)
    assert got == [b"whole"]
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    assert list(tmp_path.iterdir()) == [pipe]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no named pipes")
def test_results_go_into_a_pipe(fixtures: Path, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_bytes()), daemon=True)
    reader.start()
    words = ("--bench", "sim:", "--out", tmp_path / "out", "--json", pipe)
    assert loomproof("prove", fixtures / "tail_lamp", *words).returncode == 0
    reader.join(10)
    assert json.loads(got[0])["verdict"] == "pass"
    assert stat.S_ISFIFO(pipe.stat().st_mode)
