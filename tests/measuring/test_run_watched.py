"""A watch during a run: what comes and goes is told, and steadiness only where it was seen."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Question, Sense
from loomproof.bench.seam import WatchEvent
from loomproof.electrics.expectation import expect
from loomproof.errors import LinkError, LostEventError
from loomproof.measuring.events import finish
from loomproof.measuring.run import run_plan
from loomproof.planning.plan import plan_proof
from tests.cleared import cleared
from tests.measuring.network_bench import NetworkBench, without_ohms
from tests.measuring.test_run import measured, shows, the_loom, the_network


def test_a_contact_that_comes_and_goes_while_watched_is_told() -> None:
    steady, _ = measured(watch_s=1.0)
    assert steady.unstable == ()
    lost = WatchEvent(99, 5000, 0, 0)
    loose, _ = measured(watch_s=1.0, events=(lost,))
    assert loose.unstable
    assert shows(loose)


class Overrun(NetworkBench):
    """So much happens while it is watched that the line loses some of it."""

    def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
        yield from super()._watch(sets)
        raise LostEventError("watch event 7 was lost on the line")


@pytest.mark.parametrize("comes_and_goes", [True, False])
def test_a_watch_that_missed_something_proves_a_fault_and_never_steadiness(comes_and_goes: bool) -> None:
    if comes_and_goes:
        loose, _ = measured(watch_s=1.0, events=(WatchEvent(99, 5000, 0, 0),), kind=Overrun)
        assert loose.unstable
    else:
        with pytest.raises(LostEventError):
            measured(watch_s=1.0, kind=Overrun)


class OpensBeforeTheWatch(NetworkBench):
    """A wire opens before the first cycle of the watch and stays so."""

    def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
        self.network.ohms.pop("W9", None)
        return super()._watch(sets)


class OpensInTheLastCycle(NetworkBench):
    """A wire opens as the watch ends: no event tells of it any more."""

    def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
        yield from super()._watch(sets)
        self.network.ohms.pop("W9", None)


class WatchesNothing(NetworkBench):
    """It says that it watches and reports nothing, not even how the sets read at first."""

    def _watch(self, sets: Sequence[int]) -> Iterator[WatchEvent]:
        return iter(())


@pytest.mark.parametrize("kind", [OpensBeforeTheWatch, OpensInTheLastCycle])
def test_a_watch_is_held_against_what_was_read_before_and_after_it(kind: type[NetworkBench]) -> None:
    loose, _ = measured(watch_s=1.0, kind=kind)
    assert {str(end) for end in loose.unstable} & {"C1:7", "C2:7"}


def test_a_watch_that_reports_nothing_has_not_watched() -> None:
    with pytest.raises(LinkError, match="reported 0 of its"):
        measured(watch_s=1.0, kind=WatchesNothing)


class Fading(NetworkBench):
    """One point loses its contact after the first proof."""

    def _answer(self, question: Question) -> Answer:
        answer = super()._answer(question)
        if isinstance(question, Sense):
            self.network.ohms.pop("W9", None)
        return answer


def test_readings_that_change_are_told() -> None:
    loom = the_loom()
    point_of = dict(in_order(loom.cavities).point_of)
    plan = plan_proof(expect(loom), point_of, without_ohms(), None)
    bench = Fading(the_network(loom), point_of, without_ohms())
    found = finish(run_plan(plan, expect(loom), bench, cleared(loom, bench)))
    assert {str(end) for end in found.unstable} & {"C1:7", "C2:7"}
