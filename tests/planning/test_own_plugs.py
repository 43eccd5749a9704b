"""Hook-ups with the plugs that there are: each lead on its own point, and proved to be enough by hand."""

from __future__ import annotations

import json
from itertools import combinations
from pathlib import Path

import pytest

from loomproof.bench.adapter import Adapter, Lead, parse_adapter, read_adapter, table_of
from loomproof.bench.references import Reference
from loomproof.electrics.expectation import expect
from loomproof.errors import AdapterError, UsageError
from loomproof.jobs import hookups as hooking
from loomproof.jobs.at_bench import Setup
from loomproof.jobs.keep import Keeping
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.measuring.events import Prompt
from loomproof.planning.hookup_plan import HookUpPlan, hook_ups_plain, read_hook_ups
from loomproof.planning.hookup_search import Constraints, NotPossibleError, plan_hook_ups
from loomproof.planning.request import Request
from tests.cleared import Answers
from tests.cli.running import loomproof


@pytest.fixture
def engine(fixtures: Path) -> Loom:
    return load(fixtures / "hillclimb_engine").loom


def plugs(loom: Loom, **first: int) -> Adapter:
    """Plugs whose leads go to points in a row from ``first``; underscores stand for hyphens in names."""
    return Adapter(
        "plugs",
        tuple(
            Lead(start + k, end, lead_ohm=0.2, lead_u_ohm=0.02, zeroed="2026-01-05")
            for name, start in first.items()
            for k, end in enumerate(loom.by_name[name.replace("_", "-")].ends)
        ),
    )


def planned(loom: Loom, points: int, own: Adapter, **more: tuple[str, ...]) -> HookUpPlan:
    nets = [net.cavities for net in expect(loom).nets]
    return plan_hook_ups(loom, nets, points, Constraints(plugs=own, **more))  # type: ignore[arg-type]


def proved(loom: Loom, plan: HookUpPlan) -> None:
    """By definition: each two nets meet in some hook-up, and each net hangs together by sharing hook-ups."""
    nets = [frozenset(net.cavities) for net in expect(loom).nets if net.cavities]
    on = [frozenset(each.point_of) for each in plan.hook_ups]
    assert all(any(a & ends and b & ends for ends in on) for a, b in combinations(nets, 2))
    for net in nets:
        parts = [{end} for end in net]
        for ends in on:
            shared = [part for part in parts if part & ends]
            if shared:
                parts = [part for part in parts if not part & ends] + [set().union(*shared)]
        assert len(parts) == 1, net


@pytest.mark.parametrize(
    "first", [{"ECU_A": 33}, {"ECU_A": 33, "ECU_B": 1}, {"ECU_B": 41, "BULK": 20}], ids=str
)
def test_leads_stay_on_their_points_and_the_plan_is_enough(engine: Loom, first: dict[str, int]) -> None:
    own = plugs(
        engine, **{name: at for name, at in first.items() if name.replace("_", "-") in engine.by_name}
    )
    plan = planned(engine, 64, own)
    proved(engine, plan)
    for hook_up in plan.hook_ups:
        assert len(set(hook_up.point_of.values())) == len(hook_up.point_of), "a point has one lead"
        assert max(hook_up.point_of.values()) <= 64
        for lead in own.entries:
            assert hook_up.point_of.get(lead.end, lead.point) == lead.point
    again = read_hook_ups(json.loads(json.dumps(hook_ups_plain(plan))), "plan")
    assert again == plan
    learned = [lead for k in range(len(plan.hook_ups)) for lead in hooking.adapter_of(again, k).entries]
    assert all(lead.lead_ohm == (0.2 if lead.end in own.point_of else 0.0) for lead in learned)


def test_plugs_that_share_points_are_never_on_together(engine: Loom) -> None:
    small = [c.name for c in engine.connectors if 2 <= len(c.ends) <= 4]
    own = plugs(engine, **{small[0].replace("-", "_"): 1})
    plan = planned(engine, 64, own)
    assert any(small[0] in {unit.name for unit in each.units} for each in plan.hook_ups)
    big = plugs(engine, ECU_A=1, ECU_B=20)
    with pytest.raises(NotPossibleError, match="must be plugged together, and their plugs have leads on the"):
        planned(engine, 64, big)
    with pytest.raises(UsageError, match="are to stay plugged"):
        planned(engine, 64, big, stay=("ECU-A", "ECU-B"))


def test_plugs_that_do_not_fit_are_told(engine: Loom, tmp_path: Path) -> None:
    own = plugs(engine, ECU_A=1)
    with pytest.raises(AdapterError, match="does not fit") as caught:
        planned(engine, 64, Adapter("p", own.entries[1:]))
    assert "has no lead to ECU-A:" in str(caught.value.problems[0])
    with pytest.raises(AdapterError) as caught:
        planned(engine, 20, own)
    assert "there is no point" in str(caught.value.problems[0])
    with pytest.raises(UsageError, match="to be split"):
        planned(engine, 64, own, split=("ECU-A",))
    text = "point,connector,cavity\n1,A,1\n1,B,1\n"
    assert len(parse_adapter(text, name="p", shared=True).entries) == 2
    (tmp_path / "p.csv").write_text(text, encoding="utf-8")
    with pytest.raises(AdapterError, match="wrong in one place"):
        read_adapter(tmp_path / "p.csv")
    with pytest.raises(AdapterError, match="wrong in one place"):
        parse_adapter("point,connector,cavity\n1,A,1\n1,A,2\n", name="p", shared=True)


def test_a_proof_over_hook_ups_takes_the_plugs_that_there_are(fixtures: Path, tmp_path: Path) -> None:
    tail = fixtures / "tail_lamp"
    ends = load(tail).loom.by_name["LAMP"].ends
    table = tmp_path / "plugs.csv"
    rows = [f"{12 - k},{end.connector},{end.cavity},0.31,0.02,2026-01-05" for k, end in enumerate(ends)]
    table.write_text("point,connector,cavity,lead_ohm,lead_u_ohm,zeroed\n" + "\n".join(rows) + "\n")
    words = ("prove", tail, "--bench", "sim:?points=12", "--out", tmp_path, "--hook-ups", "--plugs", table)
    stopped = loomproof(*words, "--stop-after", "1")
    assert stopped.returncode == 3, stopped.stderr
    assert "LAMP: points 12 11 10 9 8 7" in stopped.stderr
    run = next(tmp_path.glob("*.hook-ups.json")).name.removesuffix(".hook-ups.json")
    done = loomproof("prove", tail, "--bench", "sim:?points=12", "--out", tmp_path, "--continue", run)
    assert done.returncode in (0, 4), done.stderr
    tables = [file.read_text(encoding="utf-8") for file in sorted(tmp_path.glob("*.adapter.csv"))]
    assert all("12,LAMP,1,0.31,0.02,2026-01-05" in text for text in tables if "LAMP" in text)
    again = loomproof("replay", tmp_path / f"{run}.journal.jsonl", tail)
    assert again.stdout == (tmp_path / f"{run}.results.json").read_text(encoding="utf-8")
    shown = loomproof("plan", tail, "--points", "12", "--plugs", table)
    assert "points 12 11 10 9 8 7" in shown.stdout


@pytest.mark.parametrize("puts_right", [True, False])
def test_a_wrongly_plugged_hook_up_is_noticed_at_once_and_asked_again(
    fixtures: Path, tmp_path: Path, puts_right: bool
) -> None:
    from loomproof.bench.simulation import Simulation

    tail = fixtures / "tail_lamp"
    loom = load(tail).loom
    plan = plan_hook_ups(loom, [net.cavities for net in expect(loom).nets], len(loom.cavities))
    right = hooking.adapter_of(plan, 0)
    lamp = [lead for lead in right.entries if lead.end.connector == "LAMP"]
    turned = {lead.end: other.point for lead, other in zip(lamp, reversed(lamp), strict=True)}
    wrong = Adapter("w", tuple(Lead(turned.get(lead.end, lead.point), lead.end) for lead in right.entries))
    wrong.write(tmp_path / "wrong.csv")
    right.write(tmp_path / "right.csv")
    simulation = Simulation(tail)

    class Hand(Answers):
        def plug(self, hook_up: object, number: int) -> bool:
            self.asked.append(f"plug {number}")
            first = self.asked.count(f"plug {number}") == 1
            table = "wrong.csv" if first or not puts_right else "right.csv"
            return simulation.tell(f"adapter {tmp_path / table}").startswith("ok")

    hand, told = Hand(), list[str]()
    request = Request(loom=loom, adapter=right, run="r", started="2026-01-01T00:00:00Z")
    out = tmp_path / "out"
    out.mkdir()
    try:
        steps = hooking.prove_hook_ups(
            request, plan, Setup(str(simulation.address), hand, Keeping(out), tail)
        )
        try:
            while True:
                event = next(steps)
                told += [event.text] if isinstance(event, Prompt) else []
        except StopIteration as end:
            document = end.value.document
    finally:
        simulation.end()
    assert [text for text in hand.asked if text.startswith("plug")] == ["plug 1", "plug 1"]
    assert sum("A plug in the wrong place reads like this" in text for text in told) == 1
    assert document.verdict == ("pass" if puts_right else "fail")
    assert len(list(out.glob("r.hook-up-1*.journal.jsonl"))) == 1
    assert len(list(out.glob("r.hook-up-1.plugs-*.jsonl"))) == 1, (
        "what was read of it is kept, and not counted"
    )


def test_references_stay_on_their_points_in_every_hook_up(engine: Loom) -> None:
    """No plug gets their points, a saved plan keeps them, and the bench has so many points less."""
    own = Adapter("plugs", (), references=(Reference(3, 31, 0.47, 0.005), Reference(32, 17, 47.0, 0.05)))
    plan = planned(engine, 64, own)
    proved(engine, plan)
    again = read_hook_ups(json.loads(json.dumps(hook_ups_plain(plan))), "plan")
    assert again == plan
    for k, hook_up in enumerate(again.hook_ups):
        assert not {3, 31, 32, 17} & set(hook_up.point_of.values())
        assert len(set(hook_up.point_of.values())) == len(hook_up.point_of) <= 60
        adapter = hooking.adapter_of(again, k)
        assert adapter.references == own.references
        assert parse_adapter(table_of(adapter), name="again").references == own.references
    assert hooking.whole_adapter(again).references == own.references
    with pytest.raises(AdapterError) as refused:
        planned(engine, 64, Adapter("plugs", (), references=(Reference(3, 65, 0.47),)))
    assert [p.message for p in refused.value.problems] == [
        "a reference is on point 65, and the bench has 64 points"
    ]
