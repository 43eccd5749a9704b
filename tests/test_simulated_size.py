"""A simulated scanner for a loom that is bigger than any scanner on the link."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.capability_report import MOST_POINTS as OF_THE_LINK
from loomproof.bench.seam import Capabilities
from loomproof.cli.main import run
from loomproof.errors import AdapterError, Todo
from loomproof.jobs.prove import fits
from loomproof.loom.model import Connector, ConnectorKind, Loom
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from loomproof.planning.request import Request
from loomproof.virtual.starting import MOST_POINTS, Kind, simulated
from tests.memory_bench import MemoryBench


def test_it_has_as_many_points_as_the_link_goes_up_to_and_the_loom_is_proved_plug_by_plug(
    tmp_path: Path,
) -> None:
    plugs = tuple(
        Connector(f"C{k}", ConnectorKind.PLUG, (tuple(map(str, range(1, 101))),)) for k in range(45)
    )
    write_folder(Loom("big", connectors=plugs), tmp_path / "big")
    server = simulated(tmp_path / "big", Kind(), port=0)
    try:
        assert server.device.scanner.make.points == MOST_POINTS == OF_THE_LINK
    finally:
        server.close()
    loom = load(tmp_path / "big").loom
    request = Request(loom, in_order(loom.cavities), run="r", started="2026-01-05T10:00:00.000Z")
    with pytest.raises(
        AdapterError, match="4500 cavities and the bench 4096 points, as many as the scanner link goes up to"
    ) as refused:
        fits(request, MemoryBench(able=Capabilities(MOST_POINTS)))
    assert refused.value.do is not None
    assert refused.value.do.what is Todo.HOOK_UPS


def test_a_plan_for_more_points_than_the_link_goes_up_to_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plug = Connector("C1", ConnectorKind.PLUG, (tuple(map(str, range(1, 4098))),))
    write_folder(Loom("big", connectors=(plug,)), tmp_path / "big")
    assert run(["plan", str(tmp_path / "big")]) == 0
    assert "No scanner on the link has 4097 points, 4096 are the most" in capsys.readouterr().out
    assert run(["plan", str(tmp_path / "big"), "--points", "4097"]) == 2
    assert "4097 points are more than the scanner link goes up to, 4096" in capsys.readouterr().err
    assert run(["plan", str(tmp_path / "big"), "--points", "0"]) == 2
    assert "0 is not in the range" in capsys.readouterr().err
