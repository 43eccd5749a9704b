"""How an extra is added: from where this was installed, as the installer wrote it down."""

from __future__ import annotations

import json
from importlib.metadata import PackageNotFoundError
from pathlib import Path
from types import SimpleNamespace

import pytest

from loomproof import installed
from loomproof.errors import StoreError
from loomproof.records.store import open_store


def found(monkeypatch: pytest.MonkeyPatch, said: str | None) -> None:
    told = SimpleNamespace(read_text=lambda _name: said)
    monkeypatch.setattr("loomproof.installed.distribution", lambda _name: told)


def test_it_is_added_from_where_it_was_installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """PyPA, Recording the Direct URL Origin of installed distributions: the shapes of ``direct_url.json``."""
    folder, wheel = tmp_path / "a b", tmp_path / "loomproof-1.0.0-py3-none-any.whl"
    folder.mkdir()
    wheel.touch()
    for source, more in ((folder, {"dir_info": {"editable": True}}), (wheel, {"archive_info": {}})):
        found(monkeypatch, json.dumps({"url": source.as_uri(), **more}))
        assert installed.adding("fleet").startswith(f'pip install "{source}[fleet]"')
    found(monkeypatch, None)
    assert installed.adding("fleet").startswith('pip install "loomproof[fleet]"'), "of a package index"
    gone = json.dumps({"url": (tmp_path / "gone").as_uri(), "dir_info": {}})
    for said in (gone, "{", json.dumps({"url": "https://example.org/x.git", "vcs_info": {}})):
        found(monkeypatch, said)
        assert 'In the folder of the source: pip install ".[fleet]"' in installed.adding("fleet")

    def nothing(_name: str) -> None:
        raise PackageNotFoundError

    monkeypatch.setattr("loomproof.installed.distribution", nothing)
    assert 'pip install ".[fleet]"' in installed.adding("fleet"), "a single file"


def test_a_store_on_a_server_says_how_its_driver_is_added(monkeypatch: pytest.MonkeyPatch) -> None:
    found(monkeypatch, None)
    monkeypatch.setitem(__import__("sys").modules, "psycopg", None)
    with pytest.raises(StoreError) as told:
        open_store("postgresql://looms@nowhere.example/looms")
    assert (
        told.value.cure == 'pip install "loomproof[postgresql]", into the environment that loomproof runs in.'
    )
