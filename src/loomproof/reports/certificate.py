"""The certificate as PDF: a sealed record, laid out for a person, with the record attached.

The layout lives in templates/certificate.typ; this module turns the record into ready texts for it. The
result depends on the record alone, so the same record gives the same bytes (but for characters that only a
font of this machine has).
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable, Mapping, Sequence
from typing import cast

from loomproof.loom.ends import End
from loomproof.reports import claims, stated
from loomproof.reports import wires as listed
from loomproof.reports.drawing_svg import FONT
from loomproof.reports.ruler import rulers
from loomproof.reports.typesetting import typeset
from loomproof.reports.words import (
    VERDICTS,
    cause,
    clean,
    evidence,
    graded,
    place_text,
    plural,
    reasons,
    sentence,
    shared_places,
    wires,
    worst,
    worst_of,
)
from loomproof.results.document import ClaimEntry, Document
from loomproof.results.findings import Finding

View = dict[str, object]

GRADES = (
    "wire: each joint and each part that was measured holds to its own limit, the one that wire, contacts or "
    "part have, the uncertainty of the reading counted against it",
    "bench: nothing reads outside its limit, but for some the uncertainty is too large to be sure; each "
    "joint is shown to be under the figure that the grade names",
    "connections: what should be joined is joined, and what should be apart is apart; nothing is said of how "
    "good the joints are, or parts are named that nobody could tell",
)
"""What the grades of a pass mean, strongest first."""

LIMITS = {
    "milliamp": "This is a test at low voltage and a few milliamps. It does not show broken strands, weak "
    "crimps or chafed insulation that does not touch yet; a conductor with one strand left can pass.",
    "hot, wet": "It says what the loom was when it was proved, at that temperature and lying as it lay: not "
    "how it behaves hot, wet, shaken or under load.",
    "battery": "Before the loom is fitted: battery off. Airbag and belt-tensioner circuits are never tested "
    "on this bench and belong to licensed hands; local rules for road vehicles go before this paper.",
}
"""What every certificate says, by a word that shows that a document says it already."""

_NAMELESS = "no name is sealed with the key; whose it is, the fingerprint tells whoever has compared it"

_PAGE_MM = 174.0
"""How wide the text on a page is."""


def _limits(document: Document) -> list[str]:
    said = " ".join((*document.cautions, *document.not_tested)).casefold()
    return [text for mark, text in LIMITS.items() if mark not in said]


def certificate_pdf(
    record: bytes,
    *,
    fingerprint: str = "",
    link: str = "",
    signer: str = "",
    read: Mapping[str, object] | None = None,
) -> bytes:
    """Lay a sealed record (canonical JSON) out as PDF/A-3a with the record attached, unsigned.

    ``fingerprint`` is the printable one of the record's key, ``link`` what the QR code carries, ``signer``
    the key's name where it has one; ``read`` is the record's body, hash and seal where they have been read
    already. `RecordError` where the page cannot be set.
    """
    plain: Mapping[str, object] = read or json.loads(record)
    body = cast(Mapping[str, object], plain["body"])
    document = Document.model_validate(body["document"])
    view = _view(plain, document, fingerprint=fingerprint, link=link, signer=signer)
    corrects = cast(Mapping[str, object], body.get("corrects") or {})
    made = _moment(str(corrects.get("made") or document.ended))
    # A large record takes far more memory as values than as text, and typesetting needs all there is.
    del plain, body, document, read
    return typeset("certificate.typ", {"view": view}, {"record": record.decode("utf-8")}, made)


def _moment(text: str) -> datetime.datetime:
    try:
        moment = datetime.datetime.fromisoformat(text)
    except ValueError:
        return datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)
    # PDF dates go to the second.
    moment = moment.replace(microsecond=0)
    return moment.astimezone(datetime.UTC) if moment.tzinfo else moment.replace(tzinfo=datetime.UTC)


def certificate_view(plain: Mapping[str, object], *, fingerprint: str, link: str, signer: str) -> View:
    """Return every text of the certificate, in the order and shape that the template shows."""
    document = Document.model_validate(cast(Mapping[str, object], plain["body"])["document"])
    return _view(plain, document, fingerprint=fingerprint, link=link, signer=signer)


def _view(
    plain: Mapping[str, object], document: Document, *, fingerprint: str, link: str, signer: str
) -> View:
    body = cast(Mapping[str, object], plain["body"])
    seal = cast(Mapping[str, str], plain["seal"])
    chain = cast(Mapping[str, object], body["chain"])
    loom = document.loom
    name = f"{loom.name}, {loom.serial}" if loom.serial else loom.name
    digest = str(plain["hash"])
    passed = document.verdict.value == "pass"
    rules = claims.rules(document.claims)
    said_when = stated.dated(document)
    wires = listed.wire_page(document)
    wire_rows = [[row[0], row[1], f"{row[2]} to {row[3]}", *row[4:]] for row in wires.rows]
    alike, by_threshold = claims.by_threshold(document.claims, rules)
    corrects = cast(Mapping[str, object] | None, body.get("corrects"))
    corrected = None if corrects is None else str(corrects.get("made", ""))
    heading = "Certificate of proof"
    if corrects is not None and "run" in corrects:
        heading = f"Correction of certificate {corrects['run']}"
    by_ohms = claims.by_ohms(document.claims, rules, wires.in_full)
    view: View = {
        "title": f"{heading}: {name}, run {document.run}, {VERDICTS[document.verdict.value]}",
        "heading": heading,
        "correction": _correction(corrects, said_when),
        "author": document.person or "loomproof",
        "keywords": [f"record {digest}"],
        "verdict": document.verdict.value,
        "word": VERDICTS[document.verdict.value],
        "grade": graded(document),
        "sentence": sentence(document),
        "grades": list(GRADES) if passed else [],
        "reasons": list(reasons(document)),
        "simulated": document.bench.simulated,
        "loom": name,
        "description": loom.description,
        "run": document.run,
        # The head of its chain as it was sealed; from before heads were named, by its hash alone.
        "number": str(chain["sequence"]) if "met" in body else "",
        "short-hash": digest[:16],
        "fingerprint": fingerprint or seal["key"][:16],
        "facts": [{"head": head, "rows": rows} for head, rows in stated.facts(document, corrected)],
        "statements": stated.statements(document),
        "not-tested": list(document.not_tested) or _nothing_left(document),
        "untested": [str(end) for end in document.coverage.untested],
        "waived": [str(end) for end in document.coverage.waived],
        "waiver": document.person or "a person who is not named",
        "shared-places": shared_places(document),
        "findings": [_finding(document, finding, n) for n, finding in enumerate(document.findings, 1)],
        "mended": _mended(cast(Sequence[Mapping[str, object]], body.get("mended", ())), said_when),
        "remarks": _remarks(body),
        "cautions": [*document.cautions, *_limits(document)],
        "claim-groups": claims.groups(document.claims, rules),
        "margins": [claims.margin_row(claim, room) for claim, room in worst(document)],
        "margins-of": worst_of(document),
        "seal": [
            ["record (SHA-256)", digest, "code"],
            ["signer", signer or _NAMELESS],
            ["fingerprint", fingerprint, "code"],
            ["key (Ed25519)", seal["key"], "code"],
            ["chain", f"{chain['bench']}, record {chain['sequence']}"],
            ["record before", str(chain["previous"] or "none, this is the first"), "code"],
            *_met(body),
        ],
        "qr": qr_svg(link),
        "faces": _faces(document),
        "face-fonts": FONT.split(", ")[:-1],
        "rules": [[mark, words] for words, mark in rules.items()],
        "alike": [{"said": of.said, "nets": of.nets} for of in alike],
        "by-threshold": by_threshold,
        "by-ohms": by_ohms,
        "by-ohms-longest": listed.longest(by_ohms) if wires.long else [],
        "by-wire": _by_wire(wires.in_full, rules),
        "other-claims": claims.others(document.claims, rules),
        "wires-say": wires.said,
        "wires": wire_rows,
        "wires-longest": listed.longest(wire_rows) if wires.long else [],
    }
    return cast(View, _cleaned(view))


def _cleaned(value: object) -> object:
    if isinstance(value, str):
        return clean(value) if "<svg" not in value[:200] else value
    if isinstance(value, dict):
        return {key: _cleaned(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [_cleaned(entry) for entry in value]
    return value


def _by_wire(claims: Sequence[ClaimEntry], marks: Mapping[str, str]) -> str:
    """Return where claims stand that the list of wires tells in full, "" for none."""
    if not claims:
        return ""
    used = ", ".join(dict.fromkeys(marks[claim.rule] for claim in claims))
    are = "1 claim is of one wire" if len(claims) == 1 else f"{len(claims)} claims are of one wire each"
    return f"{are}, from end to end, and told with the wires below; rule: {used}."


def _nothing_left(document: Document) -> list[str]:
    if document.coverage.untested or document.coverage.waived:
        return []
    return ["Every cavity of the description had a test point."]


def _finding(document: Document, finding: Finding, number: int) -> View:
    note = "" if finding.severity.value == "fault" else " (note)"
    rows = [
        ["where", ", ".join(map(str, finding.cavities))],
        ["wire", ", ".join(wires(finding))],
        ["part", ", ".join(finding.components)],
        ["cause", cause(finding)],
        *(["evidence", evidence(entry)] for entry in finding.evidence),
        ["place", place_text(finding.place) if finding.place is not None else ""],
        ["look first", "; ".join(f"{n}. {place}" for n, place in enumerate(finding.places, 1))],
        *(["repair", step] for step in finding.repair),
        *(["caution", caution] for caution in finding.cautions),
        *(
            ["or", f"{other.text}. {'To tell apart: ' + other.tell_apart if other.tell_apart else ''}"]
            for other in finding.alternatives
        ),
    ]
    facts: list[list[str]] = []
    for what, fact in rows:
        if fact:
            # A repeated label is said once.
            facts.append(["" if any(row[0] == what for row in facts) else what, fact])
    return {
        "head": f"{number}. {finding.title}{note}",
        "facts": facts,
        "rulers": [{"svg": drawn, "alt": told} for drawn, told in rulers(document, finding)],
        "long": sum(len(f[1]) for f in facts) > 1500,
    }


def _remarks(body: Mapping[str, object]) -> list[str]:
    said = list(cast(Sequence[str], body.get("remarks", ())))
    corrects = cast(Mapping[str, object] | None, body.get("corrects"))
    if corrects is None or "run" in corrects:  # the first page says it
        return said
    return [f"This corrects the record {corrects['record']}, which stays: {corrects['why']}", *said]


_MOST_MET = 6
"""So many heads of other chains are printed; the attached record has all."""


def _met(body: Mapping[str, object]) -> list[list[str]]:
    """Return a row with the last records of other chains that the bench met; none where it met none."""
    met = cast(Mapping[str, object], body.get("met", {}))
    heads = cast(Sequence[Mapping[str, object]], met.get("heads", ()))
    if not heads:
        return []
    said = [f"record {h['sequence']} of {h['bench']}, {str(h['record'])[:16]}…" for h in heads[:_MOST_MET]]
    if len(heads) > _MOST_MET:
        said.append(f"and {len(heads) - _MOST_MET} more, in the attached record")
    return [["last of others", "; ".join(said)]]


def _correction(corrects: Mapping[str, object] | None, when: Callable[[str], str]) -> list[list[str]]:
    """Return what a correction says of itself, row by row; none of one from before they said it."""
    if corrects is None or "run" not in corrects:
        return []
    changes = cast(Sequence[Mapping[str, str]], corrects.get("changes", ()))
    return [
        *(
            [each["what"], f"was: {each['was'] or 'not stated'}; is now: {each['now'] or 'not stated'}"]
            for each in changes
        ),
        ["why", str(corrects["why"])],
        ["corrected", when(str(corrects.get("made", ""))) or "not stated"],
        ["corrected by", str(corrects.get("by", "")) or "not stated"],
        ["in place of", f"run {corrects['run']}, whose record stays and does not stand any more"],
        ["its record", str(corrects["record"]), "code"],
    ]


WHOLE_RUN = "the whole run"
"""What a record calls the finding of a note that speaks of a whole run."""


def _mended(entries: Sequence[Mapping[str, object]], when: Callable[[str], str]) -> list[list[str]]:
    rows = []
    whole = any(entry["finding"] == WHOLE_RUN for entry in entries)
    silent = {
        "words": "as noted for the whole run" if whole else "no note was kept",
        "person": "",
        "done": "",
    }
    for entry in entries:
        repairs = cast(Sequence[Mapping[str, str]], entry.get("repairs", ()))
        for repair in repairs or (silent,):
            rows.append(
                [
                    str(entry["run"]),
                    str(entry["finding"]),
                    repair["words"],
                    repair["person"],
                    when(repair["done"]),
                ]
            )
    return rows


def qr_svg(link: str) -> str:
    """Return a QR code as SVG, "" for an empty link."""
    if not link:
        return ""
    import segno

    made: str = segno.make(link, error="m", micro=False).svg_inline(scale=4, border=2)
    return made


def _faces(document: Document) -> list[View]:
    from loomproof.reports.drawing import printed_faces

    faces: list[View] = []
    found = {cavity for finding in document.findings for cavity in finding.cavities}
    for entry in document.connectors:
        marked = {cavity for row in entry.rows for cavity in row if End(entry.name, cavity) in found}
        for piece in printed_faces(entry, _PAGE_MM, marked=marked):
            faulty = [cavity for cavity in piece.cavities if cavity in marked]
            count = plural(len(piece.cavities), "cavity", "cavities")
            alt = f"{entry.kind} {entry.name}: {count}"
            if faulty:
                alt += f"; faulty: {', '.join(faulty)}"
            if piece.cavities:
                letters = [
                    [round(each.x - piece.wide_mm / 2, 3), round(each.y, 3), each.content, *each[3:]]
                    for each in piece.letters
                ]
                wide = round(piece.wide_mm, 1)
                faces.append({"svg": piece.svg, "letters": letters, "alt": alt, "mm": wide})
    return faces
