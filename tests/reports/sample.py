"""Sample results documents, made by hand: every field that a certificate shows has something in it."""

from __future__ import annotations

from loomproof.loom.ends import end_of
from loomproof.results.document import (
    AdapterEntry,
    BenchEntry,
    CheckEntry,
    ClaimEntry,
    ConnectorEntry,
    Counts,
    Coverage,
    Document,
    LoomEntry,
    Verdict,
    WireEntry,
)
from loomproof.results.findings import Alternative, Evidence, Finding, Kind, Severity
from loomproof.results.grade import Grade
from loomproof.results.measured import Decision


def finding(number: int = 1, kind: Kind = Kind.HIGH_RESISTANCE) -> Finding:
    """A fault with evidence, places, repair, cautions and another explanation."""
    return Finding(
        kind=kind,
        cause="loose crimp",
        severity=Severity.FAULT,
        title=f"high resistance in W{number} between ECU:{number} and INJ{number}:1",
        cavities=(end_of(f"ECU:{number}"), end_of(f"INJ{number}:1")),
        wires=(f"W{number}",),
        wire_colours=("RD/WH",),
        evidence=(
            Evidence(
                text=f"ECU:{number} to INJ{number}:1",
                measured_ohm=4.7312,
                uncertainty_ohm=0.11,
                expected_ohm=0.062,
                limit_ohm=0.35,
            ),
        ),
        places=(f"the crimp at INJ{number}:1", f"the crimp at ECU:{number}", "a splice on the way"),
        repair=(f"Cut W{number} back at INJ{number}:1 and crimp a new terminal.", "Prove the loom again."),
        cautions=("Do not pull the wire to test the crimp while the loom is on the bench.",),
        alternatives=(
            Alternative(
                text="the joint in the adapter lead",
                cause="adapter lead",
                tell_apart="Zero the leads again; if the reading falls, it was the lead.",
            ),
        ),
    )


def document(
    *,
    run: str = "20260105-101500-1",
    verdict: Verdict = Verdict.FAIL,
    findings: int | None = None,
    wires: int = 6,
    name: str = "Tail lamp loom, left",
    serial: str = "TL-0007",
    started: str = "2026-01-05T10:15:00+00:00",
    ended: str = "2026-01-05T10:15:07+00:00",
    measured_ohm: float = 0.071,
    journal_digest: str = "",
    bench_serial: str = "SB-1",
    person: str = "A. Tester",
) -> Document:
    """A whole document; ``wires`` sets how long the claims and drawings are."""
    faults = (0 if verdict is Verdict.PASS else 1) if findings is None else findings
    numbers = range(1, wires + 1)
    resistance = tuple(
        ClaimEntry(
            kind="resistance",
            subject=f"W{n}",
            statement=f"W{n} is sound from ECU:{n} to INJ{n}:1",
            decision=Decision.FAIL if n <= faults else Decision.PASS,
            rule="measured + U <= limit (k = 2)",
            cavities=(end_of(f"ECU:{n}"), end_of(f"INJ{n}:1")),
            wires=(f"W{n}",),
            measured_ohm=4.7312 if n <= faults else round(measured_ohm + n * 0.001, 6),
            uncertainty_ohm=0.11,
            expected_ohm=0.062,
            limit_ohm=0.35,
            bound_ohm=None if n <= faults else round(measured_ohm + n * 0.001 + 0.11, 6),
            meter_wires=2,
        )
        for n in numbers
    )
    continuity = tuple(
        ClaimEntry(
            kind="continuity",
            subject=f"net of ECU:{n}",
            statement=f"ECU:{n} and INJ{n}:1 are one conductor",
            decision=Decision.PASS,
            rule="reads low by CLEAR",
            cavities=(end_of(f"ECU:{n}"), end_of(f"INJ{n}:1")),
            wires=(f"W{n}",),
            threshold_ohm=10000.0,
        )
        for n in numbers
    )
    isolation = (
        ClaimEntry(
            kind="isolation",
            subject="every net against all others",
            statement="no path under 8.3 kΩ between any two nets",
            decision=Decision.PASS,
            rule="reads high by SENSE over the smaller net",
            threshold_ohm=8333.0,
        ),
    )
    rows = tuple(
        tuple(str(n) for n in numbers if (n - 1) % 2 == parity) for parity in (0, 1) if wires > parity
    )
    connectors = (
        ConnectorEntry(
            name="ECU",
            kind="plug",
            description="engine control unit",
            rows=rows,
            colours={str(n): ("RD/WH", "BK", "GN", "YE/BU")[n % 4] for n in numbers},
        ),
        *(
            ConnectorEntry(name=f"INJ{n}", kind="socket", rows=(("1",),), colours={"1": "RD/WH"})
            for n in numbers[:6]
        ),
    )
    passed = verdict is Verdict.PASS
    return Document(
        verdict=verdict,
        grade=Grade.WIRE if passed else None,
        grade_demanded=Grade.BENCH,
        grade_text=f"{wires} joints within their own limits" if passed else "",
        risk=0.001 if passed else None,
        run=run,
        started=started,
        ended=ended,
        person=person,
        place="bench 2, back room",
        inspection=("Insulation looked at by eye, no chafing seen.",),
        loom=LoomEntry(
            name=name,
            serial=serial,
            description="six wires from the body plug to the lamp",
            digest="0d" * 32,
            answers={"fuel pump": "kept"},
        ),
        bench=BenchEntry(
            address="serial:/dev/ttyACM0",
            maker="Own build",
            model="scanner 128",
            serial=bench_serial,
            firmware="1.2",
            points=128,
            sense_ohm=25000.0,
            clear_ohm=10000.0,
            accuracy_ohm=0.1,
            accuracy_ratio=0.01,
            settle_us=300,
            temperature_c=19.5,
            last_selftest="2026-01-05T10:14:58+00:00",
            checks=(CheckEntry(name="all points off", passed=True, text="no point reads low"),),
        ),
        adapter=AdapterEntry(name="in order", digest="1e" * 32, leads_zeroed="2026-01-05T09:58:00+00:00"),
        findings=tuple(finding(n) for n in range(1, faults + 1)),
        coverage=Coverage(
            tested=tuple(end_of(f"ECU:{n}") for n in numbers),
            untested=(end_of("ECU:99"),),
            waived=(end_of("ECU:98"),),
        ),
        counts=Counts(
            connectors=len(connectors),
            cavities=2 * wires,
            wires=wires,
            nets=wires,
            sense_vectors=14,
            resistance_readings=wires,
            round_trips=4,
            faults=faults,
        ),
        claims=(*continuity, *isolation, *resistance),
        wires=tuple(
            WireEntry(name=f"W{n}", ends=(end_of(f"ECU:{n}"), end_of(f"INJ{n}:1")), colour="RD/WH")
            for n in (*numbers, wires + 1)
        ),
        connectors=connectors,
        reasons=() if verdict is Verdict.PASS else ("one fault was found",),
        cautions=("Prove again after every repair.",),
        not_tested=(
            "Insulation above 12 V.",
            "The splice S1 has no cavity and is seen through its wires only.",
        ),
        journal_digest=journal_digest,
        software="loomproof 0.1.0",
    )
