"""Keys: made once, the owner's alone, replaced without breaking old seals."""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path

import pytest

from loomproof.errors import RecordError, StoreError, UsageError
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder, Signer, fingerprint, new_signer, read_signer
from loomproof.records.seal import PUBLISHED_KEYS, Chain, seal, verify
from loomproof.records.signers import KnownSigners
from tests.records.conftest import NOW
from tests.reports.sample import document

posix = pytest.mark.skipif(sys.platform == "win32", reason="rights as on POSIX")


def test_the_key_is_made_once_and_stays(tmp_path: Path) -> None:
    first = KeyFolder(tmp_path).signer(NOW)
    again = KeyFolder(tmp_path).signer(NOW)
    assert (first.public_hex, first.paper_hex, first.station) == (
        again.public_hex,
        again.paper_hex,
        again.station,
    )
    assert first.pem() == again.pem() == KeyFolder(tmp_path).path.read_bytes()


def test_looking_makes_no_key(tmp_path: Path) -> None:
    assert KeyFolder(tmp_path).paper_signer("00" * 32) is None
    assert KeyFolder(tmp_path).own_keys() == {}
    assert list(tmp_path.iterdir()) == []


@posix
def test_only_the_owner_can_read_it(tmp_path: Path) -> None:
    folder = KeyFolder(tmp_path)
    folder.signer(NOW)
    assert folder.path.stat().st_mode & 0o777 == 0o600
    assert folder.folder.stat().st_mode & 0o777 == 0o700
    assert [path.name for path in folder.folder.iterdir()] == ["current.pem"]


@posix
def test_a_key_that_others_may_read_is_not_used(tmp_path: Path) -> None:
    folder = KeyFolder(tmp_path)
    folder.signer(NOW)
    folder.path.chmod(0o644)
    with pytest.raises(RecordError, match="others may read") as caught:
        folder.signer(NOW)
    assert "chmod 600" in caught.value.cure


@posix
def test_a_key_that_is_refused_can_be_replaced(tmp_path: Path) -> None:
    """What the messages advise must work: the exposed key is kept for its old seals, a damaged one aside."""
    folder = KeyFolder(tmp_path)
    exposed = folder.signer(NOW)
    folder.path.chmod(0o644)
    fresh = folder.replace(NOW)
    assert folder.signer(NOW).public_hex == fresh.public_hex
    assert exposed.public_hex in folder.own_keys()
    folder.path.write_text("damaged")
    again = folder.replace(NOW)
    assert folder.signer(NOW).public_hex == again.public_hex
    assert [path.read_text() for path in folder.folder.glob("damaged-*")] == ["damaged"]
    assert len(folder.own_keys()) == 2


def test_several_that_come_first_take_one_key(tmp_path: Path) -> None:
    found: list[str] = []
    threads = [
        threading.Thread(target=lambda: found.append(KeyFolder(tmp_path).signer(NOW).public_hex))
        for _ in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 8
    assert len(set(found)) == 1


def test_a_replaced_key_is_kept_and_its_seals_still_hold(tmp_path: Path) -> None:
    folder = KeyFolder(tmp_path)
    old = folder.signer(NOW)
    record = seal(document().plain(), Chain("b", 1), old)
    fresh = folder.replace(NOW)
    assert fresh.public_hex != old.public_hex
    assert fresh.station == old.station, "the chain goes on"
    assert folder.signer(NOW).public_hex == fresh.public_hex
    assert verify(record, KnownSigners(tmp_path).all()).standing == "genuine"
    found = folder.paper_signer(old.paper_hex)
    assert found is not None
    assert found.public_hex == old.public_hex
    assert folder.paper_signer("00" * 32) is None
    back = folder.replace(NOW, old)
    assert back.public_hex == old.public_hex
    assert len(folder.own_keys()) == 2


@pytest.mark.parametrize("mangle", ["", "Station: x\n", "rubbish", "Station: x\n-----END X-----\n" * 3])
def test_a_file_that_is_no_key_is_named(tmp_path: Path, mangle: str) -> None:
    folder = KeyFolder(tmp_path)
    folder.signer(NOW)
    folder.path.write_text(mangle)
    with pytest.raises(RecordError, match="no key of this program") as caught:
        folder.signer(NOW)
    assert str(folder.path) in caught.value.message


def test_a_certificate_of_another_key_is_refused(signer: Signer) -> None:
    other = new_signer(NOW)
    mixed = Signer(signer.key, signer.paper_key, other.paper_certificate, "x").pem()
    with pytest.raises(RecordError, match="another key"):
        read_signer(mixed)


def test_keys_that_cannot_be_kept_say_so(tmp_path: Path) -> None:
    (tmp_path / "keys").write_text("in the way")
    with pytest.raises(StoreError, match="cannot be kept"):
        KeyFolder(tmp_path).signer(NOW)


def test_the_fingerprint_is_half_of_sha_256_in_fours(signer: Signer) -> None:
    """Checked with coreutils' sha256sum, where there is one."""
    text = fingerprint(signer.public_hex)
    assert len(text.split()) == 8
    if Path("/usr/bin/sha256sum").exists():
        raw = bytes.fromhex(signer.public_hex)
        done = subprocess.run(["/usr/bin/sha256sum"], input=raw, capture_output=True, check=True)
        assert done.stdout.decode().startswith(text.replace(" ", ""))


def test_known_signers_are_a_list_that_a_person_keeps(tmp_path: Path, signer: Signer) -> None:
    known = KnownSigners(tmp_path)
    assert known.all() == {}
    known.add(signer.public_hex.upper(), "Shop in the next street")
    assert KnownSigners(tmp_path).all() == {signer.public_hex: "Shop in the next street"}
    assert "#" in known.path.read_text()
    known.add(signer.public_hex, "renamed")
    assert known.listed() == {signer.public_hex: "renamed"}
    known.remove("renamed")
    assert known.listed() == {}
    with pytest.raises(UsageError, match="is not in"):
        known.remove("renamed")


@pytest.mark.parametrize("key", ["", "zz", "00" * 31, *sorted(PUBLISHED_KEYS)])
def test_what_cannot_be_a_signer_is_refused(tmp_path: Path, key: str) -> None:
    with pytest.raises(UsageError):
        KnownSigners(tmp_path).add(key, "name")


def test_a_line_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    (tmp_path / "signers.txt").write_text("# ok\n\nrubbish\n")
    with pytest.raises(RecordError, match=r"signers\.txt, line 3"):
        KnownSigners(tmp_path).all()


@pytest.mark.parametrize(
    ("platform", "environment", "end"),
    [
        ("linux", {"LOOMPROOF_HOME": "/x/y"}, "/x/y"),
        ("win32", {"LOOMPROOF_HOME": "/x/y"}, "/x/y"),
        ("linux", {"XDG_DATA_HOME": "/data"}, "/data/loomproof"),
        ("linux", {"XDG_DATA_HOME": "not/absolute"}, "/.local/share/loomproof"),
        ("linux", {}, "/.local/share/loomproof"),
        ("darwin", {}, "/Library/Application Support/loomproof"),
        ("win32", {"LOCALAPPDATA": "/appdata"}, "/appdata/loomproof"),
        ("win32", {}, "/AppData/Local/loomproof"),
    ],
)
def test_the_data_folder_is_where_the_platform_keeps_it(
    platform: str, environment: dict[str, str], end: str
) -> None:
    """XDG Base Directory Specification; the others are common practice on their platforms."""
    assert home(environment, platform).as_posix().endswith(end)
