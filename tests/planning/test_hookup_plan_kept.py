"""A plan of hook-ups on file: read back to the same value, and refused where it is another."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from loomproof.electrics.expectation import expect
from loomproof.errors import InputError
from loomproof.loom.reading import load
from loomproof.planning.hookup_plan import hook_ups_plain, read_hook_ups
from loomproof.planning.hookup_search import Constraints, plan_hook_ups


def plain(fixtures: Path) -> dict[str, object]:
    loom = load(fixtures / "tail_lamp").loom
    made = plan_hook_ups(loom, [net.cavities for net in expect(loom).nets], 12, Constraints(("BODY",)))
    kept = hook_ups_plain(made)
    assert read_hook_ups(json.loads(json.dumps(kept)), "kept") == made
    return kept


@pytest.mark.parametrize(
    "flaw",
    [
        {"schema": 2},
        {"points": "many"},
        {"hook_ups": [{"units": []}]},
        {"limits": [[["A"], "x"]]},
        {"by": None},
    ],
)
def test_what_is_no_plan_is_refused(fixtures: Path, flaw: dict[str, object]) -> None:
    with pytest.raises(InputError, match="kept is no hook-up plan"):
        read_hook_ups(plain(fixtures) | flaw, "kept")


def test_it_is_refused_without_assertions_as_well() -> None:
    script = (
        "from loomproof.planning.hookup_plan import read_hook_ups as r\n"
        "kept = dict(schema=2, points=1, hook_ups=[], plug_ins=0, bound=0, by='', stay=[], limits=[])\n"
        "try: r(kept, 'kept')\n"
        "except Exception as error: print(type(error).__name__)"
    )
    done = subprocess.run([sys.executable, "-O", "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "InputError"
