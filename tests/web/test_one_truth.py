"""Page, terminal and JSON say one thing: a few of the random looms of `tests.campaign.one_truth`."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest

from tests.web.one_truth import CHECKS, Said, gathered

LOOMS = 4
SEED = 20


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory) -> list[Said]:
    return gathered(LOOMS, SEED, tmp_path_factory.mktemp("one_truth"))


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_page_terminal_and_json_agree(check: Callable[[Sequence[Said]], None], said: Sequence[Said]) -> None:
    check(said)
