"""Large pages are set by a process of their own: the same page, and the same refusals."""

from __future__ import annotations

import datetime
import subprocess
import sys

import pytest

from loomproof.errors import RecordError
from loomproof.reports import typesetting
from loomproof.reports.certificate import certificate_pdf
from tests.reports.sample import document
from tests.reports.test_certificate import sealed

MOMENT = datetime.datetime(2026, 1, 5, tzinfo=datetime.UTC)


@pytest.fixture
def apart(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """Every page is much; the commands of the processes that were begun."""
    begun: list[list[str]] = []
    run = subprocess.run

    def noted(command: list[str], **how: object) -> object:
        begun.append(command)
        return run(command, **how)  # type: ignore[call-overload]

    monkeypatch.setattr(typesetting, "MUCH", 0)
    monkeypatch.setattr(subprocess, "run", noted)
    return begun


def test_a_page_is_the_same_from_a_process_of_its_own(
    apart: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    record = sealed(document(name="Loom 中 \U0001f600"))
    made = certificate_pdf(record, link="X")
    assert len(apart) == 1
    monkeypatch.setattr(typesetting, "MUCH", 2**40)
    assert certificate_pdf(record, link="X") == made
    assert len(apart) == 1, "set here"


def test_what_cannot_be_set_is_refused_with_the_reason(apart: list[list[str]]) -> None:
    with pytest.raises(RecordError, match="the page cannot be set: "):
        typesetting.typeset("label.typ", {"view": {}}, {}, MOMENT)
    assert len(apart) == 1


@pytest.mark.parametrize("program", ["", "/nowhere/python"])
def test_without_such_a_process_the_page_is_set_here(program: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(typesetting, "MUCH", 0)
    monkeypatch.setattr(sys, "executable", program)
    assert certificate_pdf(sealed(document()), link="X")[:5] == b"%PDF-"


def test_a_process_that_is_ended_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(typesetting, "MUCH", 0)
    killed = subprocess.CompletedProcess([], -9, b"", b"")
    monkeypatch.setattr(subprocess, "run", lambda *_, **__: killed)
    with pytest.raises(RecordError, match="ended by signal 9"):
        certificate_pdf(sealed(document()), link="X")
