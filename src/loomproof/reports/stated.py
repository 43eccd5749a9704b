"""The facts of a certificate: item and order, test, bench and meter, and what they do and do not say.

What an assessor looks for: ISO/IEC 17025:2017, 7.8.2 to 7.8.7. A fact that nobody entered or measured is
said to be missing, or is left out; it is never filled in.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable

from loomproof.reports.words import asked, averaged, percent, plural, when
from loomproof.results.document import AdapterEntry, Document
from loomproof.results.entered import Meter
from loomproof.results.figures import ohms
from loomproof.results.grade import Grade

Rows = list[list[str]]

_FORMS = {"DD.MM.YYYY": "%d.%m.%Y", "DD/MM/YYYY": "%d/%m/%Y", "MM/DD/YYYY": "%m/%d/%Y"}
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def dated(document: Document) -> Callable[[str], str]:
    """Return what says a time in the form of dates that was entered: ``05.01.2026 10:15:07 UTC``."""
    form = document.entered.dates

    def said(text: str) -> str:
        plain, day = when(text), _day(text)
        return plain if day is None else _date(day, form) + plain[10:]

    return said


def _day(text: str) -> datetime.date | None:
    try:
        return datetime.datetime.fromisoformat(text).date()
    except ValueError:
        return None


def _date(day: datetime.date, form: str) -> str:
    if form == "DD Mon YYYY":  # by ourselves: strftime would take the months of this machine's language
        return f"{day.day:02} {_MONTHS[day.month - 1]} {day.year:04}"
    return day.strftime(_FORMS[form]) if form in _FORMS else day.isoformat()


def facts(document: Document, corrected: str | None = None) -> list[tuple[str, Rows]]:
    """Return the facts in groups, each row a name and what is said; a third word ``code`` marks a digest.

    ``corrected`` is when the record was made that corrects another one, "" where it does not tell; ``None``
    for a proof.
    """
    groups = (
        ("Item and order", _item(document)),
        ("Test", _test(document, corrected)),
        ("Bench and meter", _bench(document)),
    )
    return [(head, [row for row in rows if row[1]]) for head, rows in groups]


def statements(document: Document) -> list[str]:
    """Return what holds for the certificate as a whole."""
    opinions = (
        "The readings under evidence are results; everything else in the findings is opinion."
        if document.findings
        else ""
    )
    said = [
        "The results relate only to the item tested, as it was when it was tested.",
        "Not to be reproduced except in full.",
        "The description of the loom, what stands under item and order, and what is marked as entered, was "
        "given by people; the bench has not checked it.",
        f"What holds and what fails is decided by the rules under What is claimed. {opinions}",
        _single_risk(document),
        _coverage(document),
        "No accreditation is claimed.",
    ]
    return [text.strip() for text in said if text]


def _single_risk(document: Document) -> str:
    """Say what the guard band of measured claims is worth: beyond 2 u of a normal distribution lie 2.28 %.

    Specific risk as JCGM 106:2012 defines it; a guard band w = U is the usual one of ILAC-G8:09/2019.
    """
    measured = any(claim.kind == "resistance" and claim.uncertainty_ohm for claim in document.claims)
    if not measured or document.schema_ == 1:
        return ""
    return (
        "A measured joint that holds is beyond its limit, and one that fails is within it, with a chance of "
        "at most 2.3% each: guard band w = U, k = 2, errors taken as normally distributed"
        f"{_if_accurate(document)}."
    )


def _if_accurate(document: Document) -> str:
    """Return the condition of a risk reckoned from what the bench states of its own meter; "" where read."""
    if _meter_checked(document).startswith("no:"):
        return ", if the accuracy that the bench states of itself holds; nobody checked it"
    return ""


def _coverage(document: Document) -> str:
    """Say what k = 2 is worth: a coverage probability of 95.45 % of a normal distribution (JCGM 100, G.1)."""
    if not any(claim.uncertainty_ohm for claim in document.claims):
        return ""
    return (
        "Uncertainties are expanded ones: standard uncertainty times k = 2, a coverage probability of about "
        f"95% for a normal distribution.{_of_operators(document)}"
    )


def _of_operators(document: Document) -> str:
    added_ohm = document.bench.reproducibility_ohm
    if added_ohm is None:
        return ""
    return (
        f" A standard uncertainty of {ohms(added_ohm)} for a change of the person who plugs is in each of "
        f"them, by a {document.bench.reproducibility_study}."
    )


def _item(document: Document) -> Rows:
    loom, entered = document.loom, document.entered
    return [
        ["item", loom.name],
        ["serial", loom.serial or "not stated"],
        ["part number", loom.part_number or "not stated"],
        ["revision", loom.revision],
        ["description", loom.digest, "code"],
        ["customer", entered.customer or "not stated"],
        ["order", entered.order or "not stated"],
        ["condition on receipt", entered.condition or "not stated"],
        [
            "looked at by eye",
            "; ".join(filter(str.strip, document.inspection)) or "nobody is stated to have looked it over",
        ],
    ]


def _issued(document: Document, corrected: str | None) -> str:
    """Say when what the certificate shows was sealed: a proof when its run ended, a correction later."""
    if corrected == "":
        return "not stated: this corrects another record, and was made after the run ended"
    if corrected is not None:
        return f"{dated(document)(corrected)}, when it was corrected"
    ended = _day(document.ended)
    return "" if ended is None else f"{_date(ended, document.entered.dates)}, when the run ended"


def _test(document: Document, corrected: str | None) -> Rows:
    loom, counts, entered = document.loom, document.counts, document.entered
    said_when = dated(document)
    laboratory = ", ".join(text for text in (entered.laboratory, entered.address) if text)
    method = ", ".join(text for text in (document.method, document.software) if text)
    humidity = "" if entered.humidity_pct is None else f"{entered.humidity_pct:g}% relative, as entered"
    return [
        ["run", document.run],
        ["tested", f"{said_when(document.started)} to {said_when(document.ended)}"],
        ["issued", _issued(document, corrected)],
        ["tested by", _as_entered(document.person) or "not stated"],
        ["authorised by", _as_entered(entered.authoriser) or "nobody is stated"],
        ["laboratory", _as_entered(laboratory) or "not stated"],
        ["at", document.place or "not stated"],
        ["method", method],
        ["temperature", _temperature(document)],
        ["humidity", humidity],
        [
            "answers",
            "; ".join(f"{choice}: {answer or 'no answer'}" for choice, answer in loom.answers.items()),
        ],
        [
            "counts",
            f"{plural(counts.connectors, 'connector')}, {plural(counts.cavities, 'cavity', 'cavities')} "
            f"({len(document.coverage.tested)} tested), {plural(counts.wires, 'wire')}, "
            f"{plural(counts.nets, 'net')}, {plural(counts.components, 'component')}",
        ],
        ["asked", asked(counts, document.bench.address)],
        ["read", averaged(document)],
        [
            "found",
            f"{plural(counts.faults, 'fault')}, {plural(counts.notes, 'note')}, {counts.undecided} undecided",
        ],
        ["risk", risk(document)],
        ["watched", _watched(document)],
        ["journal", document.journal_digest, "code"],
    ]


def _as_entered(text: str) -> str:
    return f"{text}, as entered" if text else ""


def _watched(document: Document) -> str:
    """Return for how long the loom was watched, and how short a change is surely seen; "" for not at all."""
    watch, asked_s = document.watch, document.counts.watched_s
    if watch is None:
        return f"{asked_s:g} s" if asked_s else ""
    times = [net.breaks_s for net in watch.nets if len(net.cavities) > 1]
    shortest = "not known" if watch.shortest_us is None else f"{watch.shortest_us} µs"
    lost = f"; {watch.lost} events lost, {watch.unwatched_s:g} s not counted" if watch.lost else ""
    return (
        f"{min(times, default=0.0):g} s of {watch.asked_s:g} s; shortest change surely seen {shortest}{lost}"
    )


def _bench(document: Document) -> Rows:
    bench = document.bench
    named = " ".join(part for part in (bench.maker, bench.model, bench.serial) if part)
    firmware = f", firmware {bench.firmware}" if bench.firmware else ""
    # Of several hook-ups, what was seen alike is said once.
    checks = dict.fromkeys(
        f"{check.name}{'' if check.passed else ' FAILED'}{f': {check.text}' if check.text else ''}"
        for check in bench.checks
    )
    said_when = dated(document)
    return [
        ["bench", f"{named or bench.address}{firmware}, {plural(bench.points, 'point')}"],
        ["meter", _named(document.entered.meter)],
        ["calibration", _calibration(document)],
        ["reference", _reference(document)],
        ["meter checked", _meter_checked(document)],
        ["accuracy", _accuracy(document)],
        ["last self-test", _last_selftest(document)],
        ["self-test FAILED", bench.selftest_failures],
        ["checks before", "; ".join(checks)],
        ["thresholds", _thresholds(document)],
        ["test current", "" if bench.test_current_a is None else f"{bench.test_current_a * 1e3:g} mA"],
        ["test voltage", "" if bench.test_voltage_v is None else f"at most {bench.test_voltage_v:g} V"],
        ["adapter", document.adapter.name],
        ["adapter table", document.adapter.digest, "code"],
        ["adapter leads", _leads(document.adapter, said_when)],
    ]


def _last_selftest(document: Document) -> str:
    """Say when the bench was last tested; of a simulated one self-tests are kept, and no proof looks."""
    bench = document.bench
    if bench.last_selftest:
        return dated(document)(bench.last_selftest)
    return "not looked at: the bench is simulated" if bench.simulated else "none kept"


def _named(meter: Meter) -> str:
    serial = f"serial {meter.serial}" if meter.serial else ""
    named = ", ".join(text for text in (meter.make, serial) if text)
    return f"{named}, as entered" if named else ""


def _calibration(document: Document) -> str:
    """Say what the meter's readings are traced to: what was entered, and that nothing was."""
    if document.bench.accuracy_ohm is None:
        return ""
    meter = document.entered.meter
    if document.bench.simulated and not meter.calibration:
        return "none: the bench was simulated, and a simulated meter has none"
    if not meter.calibration:
        return "no traceability stated: no calibration certificate of the meter was entered"
    return _certificate(meter, document)


def _reference(document: Document) -> str:
    """Say which reference resistors were entered, with their certificate; "" where none was."""
    reference = document.entered.reference
    certificate = _certificate(reference, document) if reference.calibration else ""
    if not certificate and reference.calibration_due is not None:
        certificate = f"no certificate entered; {_due(reference, document)}"
    return "; ".join(filter(None, (_named(reference), certificate)))


def _certificate(meter: Meter, document: Document) -> str:
    return f"certificate {meter.calibration}, as entered; {_due(meter, document)}"


def _due(meter: Meter, document: Document) -> str:
    if meter.calibration_due is None:
        return "no due date stated"
    due = f"due {_date(meter.calibration_due, document.entered.dates)}"
    day = _day(document.ended)
    return due + (": EXPIRED on the day of the test" if day and meter.expired(day) else "")


def _accuracy(document: Document) -> str:
    bench = document.bench
    if bench.accuracy_ohm is None:
        return "the bench measures no resistance"
    told = [f"{_error(bench.accuracy_ohm, bench.accuracy_ratio)}, two-wire"]
    if bench.four_wire_accuracy_ohm is not None:
        told.append(f"{_error(bench.four_wire_accuracy_ohm, bench.four_wire_accuracy_ratio)}, four-wire")
    if bench.accuracy_farad is not None:
        ratio = f" + {bench.accuracy_farad_ratio:.2%} of reading" if bench.accuracy_farad_ratio else ""
        told.append(f"±({bench.accuracy_farad * 1e12:.3g} pF{ratio}), capacitance")
    return "; ".join(told)


def _error(ohm: float, ratio: float | None) -> str:
    return f"±({ohms(ohm)}{f' + {ratio:.2%} of reading' if ratio else ''})"


def _meter_checked(document: Document) -> str:
    if document.bench.accuracy_ohm is None or document.schema_ == 1:
        return ""
    return document.meter_check or "no: nothing of known resistance was read"


_LEAST_RISK = 1e-12
"""What is said of a risk that comes out as nothing: far out the normal curve is a convention, not known."""


def risk(document: Document) -> str:
    """Say how likely the loom as a whole hides a joint beyond what its grade says; "" where unsaid."""
    if document.verdict.value != "pass" or document.risk is None:
        return ""
    most = percent(max(document.risk, _LEAST_RISK))
    hidden = f"that any joint or part of this loom is beyond what the grade says: at most {most}"
    if document.grade is not Grade.WIRE:
        # Of no other grade is each joint held against its own limit: there is no such risk to state.
        return hidden + _if_accurate(document)
    wrongly = "that a loom with one beyond its limit is given grade wire: at most 2.3%"
    return f"{hidden}; {wrongly}{_if_accurate(document)}"


def _temperature(document: Document) -> str:
    bench = document.bench
    known = (
        f"; the loom's own is allowed to be ± {2 * bench.temperature_u_k:g} K from it (k = 2)"
        if bench.temperature_u_k
        else ""
    )
    if bench.temperature_c is None:
        return f"not measured; limits are for 20 °C{known}"
    return f"{bench.temperature_c:.1f} °C at the bench{known}"


def _leads(adapter: AdapterEntry, said_when: Callable[[str], str]) -> str:
    told = _leads_ohm(adapter, said_when)
    if adapter.leads_farad is None:
        return told
    least, most = (farad * 1e12 for farad in adapter.leads_farad)
    if not least and not most:
        return f"{told}; no picofarads taken off"
    day = adapter.leads_open_zeroed
    zeroed = f"zeroed with nothing on them {said_when(day)}" if day else "not all zeroed with nothing on them"
    if told == NOTHING_OFF:
        told = "no ohms taken off for them"
    return f"{told}; {least:.1f} to {most:.1f} pF taken off for each, {zeroed}"


NOTHING_OFF = "nothing taken off for them"


def _leads_ohm(adapter: AdapterEntry, said_when: Callable[[str], str]) -> str:
    zeroed = f"zeroed {said_when(adapter.leads_zeroed)}" if adapter.leads_zeroed else "not all zeroed"
    if adapter.leads_ohm is None:
        return zeroed
    least, most = adapter.leads_ohm
    if not most:
        return NOTHING_OFF
    span = ohms(most) if least == most else f"{ohms(least)} to {ohms(most)}"
    return f"{span} taken off for each, {zeroed}"


def _thresholds(document: Document) -> str:
    bench = document.bench
    if bench.clear_ohm is None or bench.sense_ohm is None:
        return ""
    settle = "" if bench.settle_us is None else f"; settled {bench.settle_us} µs before each reading"
    low, high = ohms(bench.sense_ohm), ohms(bench.clear_ohm)
    return (
        f"with one point behind it a path under {low} surely reads low, one over {high} surely high{settle}"
    )
