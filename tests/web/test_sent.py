"""Forms with files in them, against httpx, which encodes them as RFC 7578 has it; and forms that are none."""

from __future__ import annotations

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.errors import UsageError
from loomproof.web.sent import MOST_PARTS, Sent, parts, shown_name


def encoded(files: list[tuple[str, tuple[str, bytes]]], fields: dict[str, str]) -> tuple[bytes, str]:
    request = httpx.Request("POST", "http://x/", files=files, data=fields)
    return request.read(), request.headers["content-type"]


@given(
    data=st.lists(st.binary(max_size=200), min_size=1, max_size=4),
    text=st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=20),
)
def test_what_httpx_encodes_is_read_back(data: list[bytes], text: str) -> None:
    files = [("file", (f"wires {number}.csv", each)) for number, each in enumerate(data)]
    fields, found = parts(*encoded(files, {"name": text}))
    assert fields == {"name": text}
    assert found == tuple(Sent(f"wires {number}.csv", each) for number, each in enumerate(data))


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\looms\\wires.csv", "wires.csv"),
        ('"q".csv', '"q".csv'),
        ("a\x00b\nc.csv", "a\ufffdb\ufffdc.csv"),
        ("..", ".."),
        ("/", "file"),
        ("x" * 500, "x" * 200),
    ],
)
def test_a_name_is_a_text_to_show(name: str, shown: str) -> None:
    assert shown_name(name) == shown


@given(st.binary(max_size=300).filter(lambda body: b"--x--" not in body))
def test_what_is_no_form_is_refused_in_words(body: bytes) -> None:
    with pytest.raises(UsageError, match="form"):
        parts(body, "multipart/form-data; boundary=x")


@pytest.mark.parametrize(
    "kind", ["multipart/form-data", "multipart/form-data; boundary=", "x; boundary=\xe9"]
)
def test_a_form_names_what_parts_it(kind: str) -> None:
    with pytest.raises(UsageError):
        parts(b"--x\r\n\r\n--x--\r\n", kind)


def test_a_form_brings_so_many_files_at_most() -> None:
    body, kind = encoded([("file", ("a", b""))] * (MOST_PARTS + 1), {})
    with pytest.raises(UsageError, match="at most"):
        parts(body, kind)
