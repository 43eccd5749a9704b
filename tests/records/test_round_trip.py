"""Whatever a document holds, its record and the store give it back unchanged."""

from __future__ import annotations

import json
import math
from dataclasses import replace

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from loomproof.loom.ends import End
from loomproof.records.canonical import canonical, read_canonical
from loomproof.records.keys import Signer
from loomproof.records.seal import Chain, seal, verify
from loomproof.records.store import open_store
from loomproof.reports.certificate import certificate_view
from loomproof.reports.exports import junit_xml
from loomproof.results.document import Document
from tests.reports.sample import document

# No surrogates (they are no text) and no NUL (no database's text can hold it; the column is named).
TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=30)
OHMS = st.none() | st.floats(allow_nan=False, allow_infinity=False)


def is_name(text: str) -> bool:
    """Whether a description takes this for a connector's name."""
    return text.isprintable() and text.strip() == text != ""


@st.composite
def documents(draw: st.DrawFn) -> Document:
    made = document(wires=draw(st.integers(1, 3)), name=draw(TEXTS), person=draw(TEXTS), serial=draw(TEXTS))
    claim = made.claims[-1].model_copy(
        update={"measured_ohm": draw(OHMS), "limit_ohm": draw(OHMS), "statement": draw(TEXTS)}
    )
    names = tuple(draw(st.lists(TEXTS, max_size=3, unique=True)))
    findings = tuple(
        replace(
            finding,
            title=draw(TEXTS),
            wires=names,
            cavities=tuple(
                End(name, name) for name in names if name.isprintable() and name.strip() == name != ""
            ),
        )
        for finding in made.findings
    )
    return made.model_copy(
        update={"claims": (*made.claims, claim), "findings": findings, "place": draw(TEXTS)}
    )


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(documents())
def test_a_sealed_document_comes_back_as_it_was(signer: Signer, made: Document) -> None:
    record = seal(made.plain(), Chain("bench", 1), signer)
    verified = verify(record)
    assert verified.document() == made
    # Canonical JSON is JSON: another parser reads the same.
    assert Document.model_validate(json.loads(record)["body"]["document"]) == made


@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.lists(documents(), min_size=1, max_size=3), st.binary(max_size=300))
def test_a_store_gives_back_what_it_was_given(signer: Signer, made: list[Document], journal: bytes) -> None:
    with open_store(":memory:") as store:
        sealed = [
            store.seal_run(one.model_copy(update={"run": f"run {n}"}), signer, journal)
            for n, one in enumerate(made)
        ]
        for n, one in enumerate(sealed):
            assert store.record(f"run {n}") == one.record
            assert store.journal(f"run {n}") == journal
            assert store.runs(made[n].loom.name)
        assert len(store.runs()) == len(made)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(documents())
def test_every_document_has_texts_for_its_pages_and_valid_xml(made: Document) -> None:
    body = {"document": made.plain(), "chain": {"bench": "b", "sequence": 1, "previous": None}}
    plain = {"body": body, "hash": "00" * 32, "seal": {"key": "00" * 32}}
    view = certificate_view(plain, fingerprint="", link="", signer="")
    json.dumps(view, allow_nan=False)
    assert junit_xml([made]).startswith(b"<?xml")


WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | WORDS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(WORDS, inner, max_size=4),
    max_leaves=20,
)


@given(st.dictionaries(st.sampled_from("abc"), JSON))
@example({"a": 2.0**53, "b": -(2.0**53), "c": 1e20})
def test_canonical_json_is_read_back_as_the_same_values(value: dict[str, object]) -> None:
    text = canonical(value)
    assert _same(read_canonical(text, "x"), value)
    assert _same(json.loads(text), value)


def _same(one: object, two: object) -> bool:
    """Equal, numbers as numbers: 1.0 and 1 are one JSON number."""
    if isinstance(one, dict) and isinstance(two, dict):
        return one.keys() == two.keys() and all(_same(one[key], two[key]) for key in one)
    if isinstance(one, list) and isinstance(two, list):
        return len(one) == len(two) and all(_same(a, b) for a, b in zip(one, two, strict=True))
    if isinstance(one, bool) or isinstance(two, bool):
        return one is two
    if isinstance(one, int | float) and isinstance(two, int | float):
        return math.isclose(one, two, rel_tol=0, abs_tol=0)
    return one == two
