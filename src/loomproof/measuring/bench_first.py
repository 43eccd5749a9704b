"""Everything that one fault of the bench would explain, asked before the loom is blamed for it."""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.measuring.ohmmeter import Ohmmeter
from loomproof.measuring.one_factor import refuse_one_factor
from loomproof.measuring.reciprocal import (
    refuse_blind_diode_test,
    refuse_one_way_resistors,
    refuse_rectifying_metal,
    suspects,
)
from loomproof.measuring.separate_nets import Groups
from loomproof.measuring.shared_cause import refuse_common_offset, refuse_leaking_board
from loomproof.planning.plan import Plan
from loomproof.results.measured import Judged, JudgedDiode, Path


def refuse_faults_of_the_bench(
    plan: Plan,
    ohmmeter: Ohmmeter,
    groups: Groups,
    judged: Sequence[Judged],
    diodes: Sequence[JudgedDiode],
    leaks: Sequence[Path],
    one_way: Sequence[tuple[int, int]],
) -> None:
    """Refuse a meter, a board, a relay or a diode test that what was read is to blame on: `UnfitError`.

    A sound loom is asked nothing more here.
    """
    refuse_one_factor(plan, judged)
    refuse_common_offset(plan, ohmmeter, groups, judged)
    if leaks or one_way:
        refuse_leaking_board(plan, ohmmeter)
    refuse_rectifying_metal(ohmmeter, suspects(plan, judged, diodes, one_way, leaks))
    refuse_one_way_resistors(plan, ohmmeter, judged)
    refuse_blind_diode_test(ohmmeter, diodes)
