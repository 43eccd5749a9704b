"""How figures and kinds are said to people: one place, so that screen and certificate agree."""

from __future__ import annotations

import datetime
import math
import unicodedata
from typing import TYPE_CHECKING

from loomproof.results.figures import ohms, ohms_within
from loomproof.results.measured import Decision
from loomproof.results.places import rounded_down, rounded_up

if TYPE_CHECKING:  # what says a count needs no model of a document, which takes a while to be made
    from loomproof.results.document import ClaimEntry, Counts, Document
    from loomproof.results.findings import Evidence, Finding
    from loomproof.results.places import Place

VERDICTS = {"pass": "PASS", "fail": "FAIL", "undecided": "UNDECIDED", "incomplete": "INCOMPLETE"}


SENTENCES = {
    "wire": "Every connection that was tested is as described, and every joint and part that was measured is "
    "within its own limit.",
    "bench": "Every connection that was tested is as described. How good its joints are is shown only as far "
    "as this bench can tell, which is not as far as their own limits go.",
    "connections": "Everything that was tested is joined and apart as described. How good the joints are, or "
    "what every part is, this proof does not say.",
    "pass": "Every connection that was tested is as described, and every claim below holds.",
    "fail": "The loom is not as described. Do not fit it before every fault below is mended and it is "
    "proved again.",
    "undecided": "No fault was found, but this bench could not decide every claim. This is not a pass.",
    "incomplete": "The proof did not cover the whole loom. This is not a pass.",
}
"""What the head says, by grade where a pass has one, else by verdict."""


SIMULATED = "The bench was simulated: this says nothing of a real loom."


NO_GRADE = "no grade stated: proved when limits were moved to what the bench could decide"


def sentence(document: Document) -> str:
    """Return what a verdict, and the grade of a pass, mean for who is to fit the loom."""
    passed = document.verdict.value == "pass"
    return SENTENCES[document.grade if document.grade and passed else document.verdict.value]


def headline(verdict: str, grade: str | None, text: str) -> str:
    """Return verdict and grade as every headline says them: ``PASS, grade bench: joints to 0.30 Ω: …``.

    ``grade`` is ``None`` where none was reached; only a pass carries it.
    """
    word = VERDICTS[verdict]
    if verdict != "pass":
        return word
    return f"{word}, grade {grade}: {text}" if grade else f"{word}, {NO_GRADE}"


def graded(document: Document) -> str:
    """Return the grade of a pass with what it says, and how much was waived; "" for other verdicts."""
    if document.verdict.value != "pass":
        return ""
    grade = f"grade {document.grade}: {document.grade_text}" if document.grade else NO_GRADE
    count = len(document.coverage.waived)
    if not count:
        return grade
    there = "there" if count == 1 else "at any of them"
    return f"{grade}; {plural(count, 'cavity', 'cavities')} waived by name: an open {there} would not show"


def reasons(document: Document) -> tuple[str, ...]:
    """Return the reasons for the verdict; of a loom that fails also how much was left undecided beside."""
    count = sum(claim.decision is Decision.UNDECIDED for claim in document.claims)
    if document.verdict.value != "fail" or not count:
        return document.reasons
    return (*document.reasons, f"{plural(count, 'more claim')} could not be decided by this bench.")


def averaged(document: Document) -> str:
    """Return how often each joint and part was read; "" for once, or where none was."""
    read = any(
        claim.kind in ("resistance", "component") and claim.uncertainty_ohm for claim in document.claims
    )
    if document.repeats == 1 or not read:
        return ""
    count = document.repeats
    return f"each resistance of a joint or part is the mean of {count} readings, a number fixed beforehand"


def percent(share: float) -> str:
    """Return a share in percent, rounded up: ``0.4%``, ``12%``; never 0 for what is not."""
    if share <= 0.0:
        return "0%"
    if share < 1e-4:
        return "0.01%"
    digits = 0 if share >= 0.1 else 1 if share >= 0.01 else 2
    return f"{math.ceil(share * 100 * 10**digits - 1e-9) / 10**digits:.{digits}f}%"


def uncertain(value: float | None, uncertainty: float | None) -> str:
    """Return a measured value with its expanded uncertainty, in the value's own unit."""
    return ohms(value) if uncertainty is None else ohms_within(value, uncertainty)


def evidence(entry: Evidence) -> str:
    """Return one observation as a sentence: the words, then measured against limit."""
    figures = []
    if entry.measured_ohm is not None:
        figures.append(f"measured {uncertain(entry.measured_ohm, entry.uncertainty_ohm)}")
    if entry.limit_ohm is not None:
        figures.append(f"limit {ohms(entry.limit_ohm)}")
    if entry.expected_ohm is not None:
        figures.append(f"sound is {ohms(entry.expected_ohm)}")
    return f"{entry.text}: {', '.join(figures)}" if figures else entry.text


INTERVAL, CERTAIN = 0.95, 0.99
"""No place is told as surer than its interval, and no contact than this."""


def place_text(place: Place) -> str:
    """Return where a fault lies in words, how sure that is, and on what it rests."""
    if place.answer == "none":
        return place.text
    most = INTERVAL if place.stretches else CERTAIN
    sure = f"{math.floor(100 * min(place.share, most) + 1e-6)}% probability"
    what = "this is so"
    if place.answer == "wire":
        what = "the interval holds the place"
    elif place.answer in ("near", "either"):
        what = "one of these is so" if place.ends else "the intervals hold the place"
    read = plural(place.readings, "reading")
    return f"{place.text}. By {place.basis} ({read}). Under these assumptions {what} with {sure}"


def place_in_brief(place: Place, kind_of_fault: str) -> str:
    """Return where a fault lies and how often that is so, for the bench: what it rests on is `place_text`.

    A break rests on capacitance, so on wires that lie evenly; all else on ohms, so on the loom as described.
    """
    if place.answer == "none":
        return place.text
    percent_of = math.floor(100 * min(place.share, INTERVAL if place.stretches else CERTAIN) + 1e-6)
    often = "19 times in 20" if percent_of == 95 else f"{percent_of} times in 100"
    evenly = "the wires lie evenly in their bundle"
    given = evenly if kind_of_fault == "open" else "wires and contacts are as described"
    where = "it is there"
    if place.answer == "wire" and len(place.stretches) == 1 and not place.stretches[0].as_share:
        (only,) = place.stretches
        where = f"it is between {rounded_down(only.low_m)} and {rounded_up(only.high_m)} m"
    elif place.answer in ("near", "either"):
        where = "it is one of these"
    return f"{place.text}. If {given}, {where} {often} ({plural(place.readings, 'reading')})"


def capacitance(document: Document) -> str:
    """Return what was learned of a sound loom's wires for later places, in words; "" where nothing was."""
    nets = document.capacitance
    if not nets:
        return ""
    each = [net.f_per_m * 1e12 for net in nets]
    least, most = f"{min(each):.0f}", f"{max(each):.0f}"
    span = f"{least} pF/m" if least == most else f"{least} to {most} pF/m"
    return f"{plural(len(nets), 'net')}, {span}, by {plural(len(nets), 'reading')}: later places rest on it"


def shared_places(document: Document) -> list[str]:
    """Return each place of several findings in words, with the numbers that they have in this document.

    One of which a look at the loom has since changed a finding is not told any more.
    """
    numbers = {each.identity: number for number, each in enumerate(document.findings, 1)}
    return [
        f"findings {', '.join(str(numbers[key]) for key in place.findings)}: {place.text}"
        for place in document.shared_places
        if all(key in numbers for key in place.findings)
    ]


def wires(finding: Finding) -> tuple[str, ...]:
    """Return each wire with its colour where it has one: ``W12 (RD/WH)``."""
    colours = (*finding.wire_colours, *("",) * len(finding.wires))
    return tuple(
        f"{wire} ({colour})" if colour else wire for wire, colour in zip(finding.wires, colours, strict=False)
    )


def kind(name: str) -> str:
    """Return a finding's or claim's kind in words: ``high resistance``."""
    return name.replace("_", " ")


_LEFT_OPEN = {
    "broken_wire": "bad contact or broken wire",
    "resistive_wire": "resistive contact or wire",
    "loose_contact": "loose contact or wire",
}
"""Causes whose code names a wire or a contact where readings at both ends leave open which of them it is."""


def cause(finding: Finding) -> str:
    """Return a finding's cause in words: all that readings and answers leave of it, and no more.

    A wire that reads open or high may be so at a contact: it is called broken only where a place was measured
    on its way, or no end is left to be bad.
    """
    code = finding.cause or finding.kind.value
    on_the_way = finding.place is not None and finding.place.answer == "wire"
    if code not in _LEFT_OPEN or on_the_way or not finding.cavities:
        return kind(code)
    if code == "resistive_wire" and finding.place is not None and finding.place.answer == "contact":
        return kind("resistive_contact")
    return _LEFT_OPEN[code]


def worst(document: Document, count: int = 10) -> tuple[tuple[ClaimEntry, float], ...]:
    """Return the claims with the smallest margin: those that fail first, then by margin.

    An open where a resistance was measured has none left whatever its limit: its margin is -inf.
    """
    found = [
        (claim, -math.inf if claim.margin is None else claim.margin)
        for claim in document.claims
        if _has_margin(claim)
    ]
    return tuple(sorted(found, key=lambda pair: (pair[0].decision is not Decision.FAIL, pair[1]))[:count])


def worst_of(document: Document, count: int = 10) -> str:
    """Return how many of how many claims `worst` gives: ``10 of 68``; "" where that is all of them."""
    every = sum(map(_has_margin, document.claims))
    return f"{count} of {every}" if every > count else ""


def _has_margin(claim: ClaimEntry) -> bool:
    fails_open = claim.open and claim.limit_ohm is not None and claim.decision is Decision.FAIL
    return claim.margin is not None or fails_open


_UNSHOWN = frozenset({"Cc", "Cs", "Co", "Cn"})
_TURNING = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def clean(text: str) -> str:
    """Return text with a mark for what cannot be shown, or would show something else than it is.

    Control characters could move a terminal's cursor, direction marks could turn a name around, private
    and unassigned characters have no agreed shape.
    """
    if text.isprintable():  # no mark of the categories "Other" and "Separator" but the blank
        return text
    return "".join(
        "\ufffd" if unicodedata.category(mark) in _UNSHOWN or mark in _TURNING else mark for mark in text
    )


def when(text: str) -> str:
    """Return a time as people write it: ``2026-01-05 10:15:07 UTC``; a day, and any other text, as it is."""
    try:
        moment = datetime.datetime.fromisoformat(text)
    except ValueError:
        return text
    zone = moment.utcoffset()
    if len(text) == len("YYYY-MM-DD"):  # an adapter's table holds no time of day
        return text
    if zone is None:
        return moment.strftime("%Y-%m-%d %H:%M:%S")
    return moment.strftime("%Y-%m-%d %H:%M:%S ") + ("UTC" if not zone else moment.strftime("UTC%z"))


def bench_text(document: Document) -> str:
    """Return the bench: its name, its points, and the limits of error of what its readings were read with."""
    bench = document.bench
    name = " ".join(part for part in (bench.maker, bench.model, bench.serial) if part) or bench.address
    parts = [name, plural(bench.points, "point")]
    read = {claim.meter_wires for claim in document.claims}
    four = 4 in read and bench.four_wire_accuracy_ohm is not None
    two = 2 in read or not four  # an old document does not say which its readings are
    if bench.accuracy_ohm is not None and two:
        said = _limits_of_error(bench.accuracy_ohm, bench.accuracy_ratio)
        parts.append(f"{said}, two-wire" if four else said)
    if bench.four_wire_accuracy_ohm is not None and four:
        parts.append(
            f"{_limits_of_error(bench.four_wire_accuracy_ohm, bench.four_wire_accuracy_ratio)}, four-wire"
        )
    return ", ".join(parts)


def _limits_of_error(ohm: float, ratio: float | None) -> str:
    return f"±({ohms(ohm)}{f' + {ratio:.2%}' if ratio else ''})"


def asked(counts: Counts, address: str = "") -> str:
    """Return what was asked of the bench at this address, and what the line to it took."""
    if address.startswith("hand:"):
        sweeps, typed = (
            plural(counts.sense_vectors, "sweep"),
            plural(counts.resistance_readings, "typed reading"),
        )
        return f"{sweeps}, {typed}, by hand"
    parts = [
        plural(counts.sense_vectors, "sense"),
        plural(counts.resistance_readings - counts.capacitance_readings, "resistance reading"),
        *([plural(counts.capacitance_readings, "capacitance reading")] * bool(counts.capacitance_readings)),
        plural(counts.round_trips, "round trip"),
    ]
    if counts.repeated or counts.dropped:
        dropped = plural(counts.dropped, "damaged or stray reply", "damaged or stray replies")
        parts.append(f"{counts.repeated} sent again, {dropped} dropped")
    return ", ".join(parts)


def plural(count: int, one: str, many: str = "") -> str:
    """Return ``1 fault``, ``2 faults``."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def duration(seconds: float) -> str:
    """Return a time as people say it: ``40 s``, ``25 min``, ``3.5 h``, ``12 days``."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 90 * 60:
        return f"{seconds / 60:.0f} min"
    if seconds < 36 * 3600:
        return f"{seconds / 3600:.1f} h"
    return plural(round(seconds / 86_400), "day")
