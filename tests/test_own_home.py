"""No test, and nothing that one starts, reads or writes the data folder of whoever runs the tests."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.records.data_folder import home


@pytest.fixture(scope="module")
def of_the_module() -> Path:
    return home()


def test_what_a_module_starts_has_a_home_of_its_own(
    of_the_module: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    given = tmp_path_factory.getbasetemp()
    assert of_the_module.is_relative_to(given)
    assert home().is_relative_to(given)
    assert home() != of_the_module
