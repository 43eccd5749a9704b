"""Hostile and broken files: refused with a message that a person can act on, and nothing fetched or grown."""

from __future__ import annotations

import gzip
import io
import zipfile
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.errors import DescriptionError
from loomproof.loom import kbl, xml_guard
from loomproof.loom.kbl.document import Document, line_of
from loomproof.loom.kbl.opening import parse
from loomproof.loom.kbl.reading import read_root
from loomproof.loom.kbl.schema_words import plain_words
from loomproof.loom.model import Circuit, Component, ComponentKind, Connector, ConnectorKind, End, Loom, Wire
from loomproof.loom.xml_guard import tree_of

PLUG = Connector("C1", ConnectorKind.PLUG, (("1", "2"),))
SMALL = Loom(
    "small",
    connectors=(
        PLUG,
        Connector("S1", ConnectorKind.SPLICE),
        Connector("F", ConnectorKind.FUSE_HOLDER, (("1", "2"),)),
    ),
    wires=(
        Wire("W1", End("C1", "1"), End("S1"), "RD/YE", 1.0, 0.5, "feed"),
        Wire("W2", End("C1", "2"), End("S1"), "BK", 1.0, 0.5),
    ),
    components=(
        Component(
            "F1",
            ComponentKind.FUSE,
            (("1", End("F", "1")), ("2", End("F", "2"))),
            fitted=False,
            pullable=True,
        ),
    ),
    circuits=(Circuit("feed"),),
)
CONTENT = kbl.write(SMALL).content
HEAD = b"<?xml version='1.0' encoding='UTF-8'?>"


def refused(content: bytes) -> DescriptionError:
    with pytest.raises(DescriptionError) as caught:
        parse(content, "some.kbl")
    assert "some.kbl" in caught.value.message
    return caught.value


def with_doctype(doctype: str, use: str = "") -> bytes:
    body = CONTENT.removeprefix(HEAD).decode()
    return f"<?xml version='1.0'?>{doctype}{body}".replace("small", f"small{use}").encode()


def test_an_external_entity_is_not_fetched(tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("the secret")
    error = refused(with_doctype(f'<!DOCTYPE k [<!ENTITY x SYSTEM "{secret.as_uri()}">]>', "&x;"))
    assert "document type" in error.message
    assert "the secret" not in f"{error} {error.cure} {error.problems}"


def test_an_entity_bomb_is_not_lit() -> None:
    steps = "".join(f'<!ENTITY a{i + 1} "{f"&a{i};" * 10}">' for i in range(9))
    assert (
        "document type" in refused(with_doctype(f'<!DOCTYPE k [<!ENTITY a0 "ha">{steps}]>', "&a9;")).message
    )


def test_an_entity_in_an_attribute_is_refused_too() -> None:
    bomb = with_doctype('<!DOCTYPE k [<!ENTITY a "b">]>').replace(b'id="Unit_1"', b'id="&a;"', 1)
    assert "document type" in refused(bomb).message


@pytest.mark.parametrize("coding", ["utf-16", "utf-16-le", "utf-16-be", "iso-8859-1"])
def test_no_encoding_hides_a_document_type(coding: str) -> None:
    mark = {"utf-16-le": b"\xff\xfe", "utf-16-be": b"\xfe\xff"}.get(coding, b"")
    declared = "utf-16" if coding.startswith("utf-16") else coding
    text = (
        f'<?xml version="1.0" encoding="{declared}"?><!DOCTYPE k SYSTEM "http://invalid.example/k.dtd"><k/>'
    )
    assert "document type" in refused(mark + text.encode(coding)).message


def test_a_document_type_without_entities_is_refused_as_well() -> None:
    assert "document type" in refused(with_doctype("<!DOCTYPE k>")).message


def test_a_packed_file_is_refused_unread() -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("bomb.kbl", b"\0" * 10_000_000)
    assert "zip archive" in refused(packed.getvalue()).message
    error = refused(gzip.compress(CONTENT))
    assert "gzip" in error.message
    assert "Unpack" in error.cure


def test_a_file_beyond_the_limit_is_refused_unread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(xml_guard, "LARGEST_BYTES", 100)
    path = tmp_path / "big.kbl"
    path.write_bytes(CONTENT)
    with pytest.raises(DescriptionError, match="at most 100"):
        kbl.read(path)


def test_nesting_without_end_is_refused() -> None:
    assert "well-formed" in refused(b"<a>" * 100_000).message


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "well-formed"),
        (b"wire,from,to\n", "well-formed"),
        (b"<html/>", "<html>"),
        (b"<KBL_container/>", "<KBL_container>"),
        (CONTENT[: len(CONTENT) // 2], "well-formed"),
    ],
)
def test_what_is_no_kbl_is_told_so(content: bytes, told: str) -> None:
    error = refused(content)
    assert told in f"{error.message} {error.cure}"


def test_a_missing_file_is_told_by_name(tmp_path: Path) -> None:
    with pytest.raises(DescriptionError, match=r"none\.kbl cannot be read"):
        kbl.read(tmp_path / "none.kbl")


def test_a_parts_library_is_no_loom() -> None:
    start, stop = CONTENT.index(b"<Harness "), CONTENT.index(b"</Harness>") + len(b"</Harness>")
    root, _ = parse(CONTENT[:start] + CONTENT[stop:], "parts.kbl")
    with pytest.raises(DescriptionError, match="no harness"):
        read_root(Document(root, "parts.kbl"))


def test_every_breach_of_the_schema_is_told_with_its_line_and_in_plain_words() -> None:
    broken = CONTENT.replace(b"<Content>harness complete set</Content>", b"<Content>half of it</Content>", 1)
    broken = broken.replace(b"<Position_on_wire>0<", b"<Position_on_wire>start<", 1)
    broken = broken.replace(b"<Company_name>/NULL</Company_name>", b"", 1)
    error = refused(broken)
    told = {problem.row: problem.message for problem in error.problems}
    assert all(row is not None and row > 1 for row in told)
    words = " ".join(told.values())
    assert (
        "<Content> holds 'half of it'; one of 'harness complete set', 'harness subset' is expected" in words
    )
    assert "<Position_on_wire> holds 'start', which is no number" in words
    assert "<Version> does not belong here; <Company_name> is expected" in words
    assert "{http" not in words


@pytest.mark.parametrize(
    ("said", "plain"),
    [
        ("Element 'A': Missing child element(s). Expected is ( B ).", "<A> is incomplete: <B> is missing"),
        (
            "Element '{http://x}A': This element is not expected. Expected is one of ( B, {http://x}C ).",
            "<A> does not belong here; <B> or <C> is expected",
        ),
        ("Element 'A': This element is not expected.", "<A> does not belong here"),
        ("Element 'A': The attribute 'id' is required but missing.", "<A> lacks its attribute id"),
        (
            "Element 'A', attribute 'z': The attribute 'z' is not allowed.",
            "<A> has an attribute z that the schema does not know",
        ),
        (
            "Element 'A': The type definition is abstract.",
            "<A> does not say which kind it is (xsi:type is missing)",
        ),
        (
            "Element 'A', attribute '{x}type': The QName value '{y}Foo' of the xsi:type attribute does not "
            "resolve to a type definition.",
            "<A> says it is a Foo, which the schema does not know",
        ),
        ("Something new.", "Something new."),
    ],
)
def test_schema_words(said: str, plain: str) -> None:
    assert plain_words(said) == plain


def test_an_unknown_version_is_read_as_the_newest_and_said() -> None:
    root, warnings = parse(CONTENT.replace(b'version_id="2.5 SR-1"', b'version_id="9"'), "some.kbl")
    assert root.get("version_id") == "9"
    assert "'9'" in warnings[0].message


def test_a_dangling_reference_is_said_and_nothing_else_breaks() -> None:
    loose = CONTENT.replace(b"<Contact_point>Contact_points_1<", b"<Contact_point>nowhere<", 1)
    assert loose != CONTENT
    root, _ = parse(loose, "some.kbl")
    found = read_root(Document(root, "some.kbl"))
    assert len(found.loom.wires) == 1
    assert any("end nowhere, left out (1): W1" in problem.message for problem in found.warnings)


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_give_a_refusal(content: bytes) -> None:
    refused(content)


PIECES = [
    b"W1",
    b"Contact_points_1",
    b"1.0",
    b"Slots",
    b">",
    b"</",
    b'"',
    b"Part",
    b"<Id>",
    b"fuse",
    b"/NULL",
]


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_damage_gives_a_loom_or_a_refusal(data: st.DataObject) -> None:
    damaged = CONTENT
    for _ in range(data.draw(st.integers(1, 4))):
        old = data.draw(st.sampled_from(PIECES))
        new = data.draw(st.sampled_from([*PIECES, b"", b"-1", b"NaN", b"INF", b"1e999", b" ", "ü".encode()]))
        at = damaged.find(old, data.draw(st.integers(0, max(len(damaged) - 1, 0))))
        if at >= 0:
            damaged = damaged[:at] + new + damaged[at + len(old) :]
    with suppress(DescriptionError):
        root, _ = parse(damaged, "some.kbl")
        read_root(Document(root, "some.kbl"))


def test_what_indents_a_file_is_not_kept_and_its_lines_are_known_all_the_same() -> None:
    """A third of a large tree is what it is indented with; a blank that is an element's whole text stays."""
    root = tree_of(b"<a>\n  <b> </b>\n  <c>two words</c>\n</a>", "it", "KBL")
    assert [(each.tag, each.text, each.tail, line_of(each)) for each in root.iter()] == [
        ("a", None, None, 1),
        ("b", " ", None, 2),
        ("c", "two words", None, 3),
    ]
