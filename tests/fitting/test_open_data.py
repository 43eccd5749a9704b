"""The main harness of the prostep ivip association's KBL samples (CC BY-SA 4.0), second configuration."""

from __future__ import annotations

import pytest

from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom import kbl
from loomproof.loom.choices import answers_of
from loomproof.loom.model import ConnectorKind, Loom
from loomproof.results.fitting import Sheet
from tests.fitting.test_sheet import assert_partition
from tests.loom.kbl_files import MAIN_HARNESS, open_data

SECOND = "Kombination_MINI"
OWN = (ConnectorKind.FUSE_HOLDER, ConnectorKind.RELAY_BASE)


@pytest.fixture(scope="module")
def whole() -> Loom:
    return kbl.read(open_data(MAIN_HARNESS)).loom


@pytest.fixture(scope="module")
def sheet(whole: Loom) -> Sheet:
    return fitting_sheet(whole, answers_of(whole, [f"configuration={SECOND}"]))


def ends_of(loom: Loom, names: set[str]) -> set[str]:
    return {
        str(end)
        for wire in loom.wires
        if wire.name in names
        for end in wire.ends
        if end.cavity and loom.by_name[end.connector].kind not in OWN
    }


def test_unused_ends_are_those_of_connections_that_the_configuration_does_not_fit(
    whole: Loom, sheet: Sheet
) -> None:
    fitted = {wire.name for wire in kbl.read(open_data(MAIN_HARNESS), configuration=SECOND).loom.wires}
    assert (len(whole.wires), len(fitted)) == (254, 165)  # Counted in the files, open_data/kbl/README.md.
    used = ends_of(whole, fitted)
    unused = ends_of(whole, {wire.name for wire in whole.wires} - fitted) - used
    bare = {str(end) for end in whole.cavities if not whole.wires_at.get(end)}
    connected = {str(row.facts.end) for row in sheet.connect}
    safe = {str(row.facts.end) for row in sheet.safe}
    assert len(unused) > 50
    assert unused <= safe
    assert used <= connected
    assert safe - unused <= bare
    assert_partition(whole, sheet)


def test_without_a_side_table_the_sheet_says_that_contacts_were_not_traced(sheet: Sheet) -> None:
    assert any(
        "relay contacts of R_WISG_R9" in warn.text and "not traced" in warn.text for warn in sheet.warnings
    )
