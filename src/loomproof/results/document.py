"""The results document: what ``--json`` writes, what a record seals and what a certificate shows.

Everything that a reader is told stands in here, so that a certificate can be drawn from the record
alone, years later. Cavities are written as texts such as ``ECU:12``. ``None`` for an ohm value means "open"
where the field says measured, "not applicable" elsewhere. The JSON Schema beside this file is generated from
these models; a test holds both together.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum
from typing import Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from loomproof.loom.ends import End
from loomproof.notebook import Shown
from loomproof.results.entered import Entered, ReferenceStandard
from loomproof.results.findings import Finding, Severity
from loomproof.results.grade import Grade
from loomproof.results.learned import Learned
from loomproof.results.measured import Decision
from loomproof.results.places import NetFarads, SharedPlace

SCHEMA_NUMBER = 2
"""Of what is written. Documents of schema 1 have no grade, and limits that were moved to what their bench
could decide (``limit_ohm``, beside ``physical_limit_ohm``); they are read as they are."""


class Verdict(StrEnum):
    """What a proof says of a loom."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    INCOMPLETE = "incomplete"


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Coverage(_Value):
    """Which cavities were tested; an untested one blocks a pass unless a person waived it by name."""

    tested: tuple[End, ...] = ()
    untested: tuple[End, ...] = ()
    waived: tuple[End, ...] = ()


class Counts(_Value):
    """How much was looked at, how much was asked, and what the line to the bench took.

    ``repeated`` requests were sent again; ``dropped`` replies were damaged or of an earlier question. For
    ``watched_s`` contacts that come and go were watched for while the loom was moved, s; 0: they were not.
    ``capacitance_readings`` are among the ``resistance_readings``, which count all that the meter read.
    """

    connectors: int = 0
    cavities: int = 0
    wires: int = 0
    nets: int = 0
    components: int = 0
    sense_vectors: int = 0
    resistance_readings: int = 0
    capacitance_readings: int = 0
    round_trips: int = 0
    repeated: int = 0
    dropped: int = 0
    faults: int = 0
    notes: int = 0
    undecided: int = 0
    watched_s: float = 0.0


class CheckEntry(_Value):
    """One self-check of the bench before the proof."""

    name: str
    passed: bool
    text: str = ""


class WatchedNet(_Value):
    """A net and for how long it was watched, s: for parting, and for touching any other net."""

    cavities: tuple[End, ...]
    breaks_s: float
    touches_s: float


class WatchEntry(_Value):
    """A watch while the loom was moved: what it can claim.

    ``shortest_us`` is the shortest change that it surely saw, µs, ``None`` where the bench does not say how
    often it looked. ``lost`` counts events lost on the line, ``unwatched_s`` the time that they left open, s,
    which is in no net's time.
    """

    asked_s: float
    shortest_us: int | None = None
    lost: int = 0
    unwatched_s: float = 0.0
    nets: tuple[WatchedNet, ...] = ()


class BenchEntry(_Value):
    """The bench that measured; its accuracy of capacitance only where capacitance was read.

    ``reproducibility_ohm`` is the standard deviation that a change of operator adds to each reading, Ω, by
    the ``reproducibility_study`` that the words name: both only where a study of this bench counted.
    """

    address: str
    maker: str = ""
    model: str = ""
    serial: str = ""
    firmware: str = ""
    points: int = 0
    sense_ohm: float | None = None
    clear_ohm: float | None = None
    accuracy_ohm: float | None = None
    accuracy_ratio: float | None = None
    four_wire: bool = False
    four_wire_accuracy_ohm: float | None = None
    four_wire_accuracy_ratio: float | None = None
    accuracy_farad: float | None = None
    accuracy_farad_ratio: float | None = None
    test_current_a: float | None = None
    test_voltage_v: float | None = None
    settle_us: int | None = None
    temperature_c: float | None = None
    temperature_u_k: float | None = None
    simulated: bool = False
    last_selftest: str = ""
    selftest_failures: str = ""
    reproducibility_ohm: float | None = None
    reproducibility_study: str = ""
    checks: tuple[CheckEntry, ...] = ()


class LoomEntry(_Value):
    """The loom as identified; ``digest`` is SHA-256 over its whole description.

    ``serial`` is the item's own, which need not stand in the description: many looms are made by one design.
    """

    name: str
    serial: str = ""
    part_number: str = ""
    revision: str = ""
    description: str = ""
    digest: str = ""
    answers: dict[str, str] = Field(default_factory=dict)


class AdapterEntry(_Value):
    """The adapter used; ``leads_ohm`` is the least and the most taken off for a lead, where known.

    ``leads_farad`` is so of capacitance, and ``leads_open_zeroed`` the oldest day on which that was learned;
    ``None`` and "" where no capacitance was read.
    """

    name: str
    digest: str = ""
    leads_zeroed: str = ""
    leads_ohm: tuple[float, float] | None = None
    leads_farad: tuple[float, float] | None = None
    leads_open_zeroed: str = ""


BUT_JOINED = "but those that parts join it to"
"""In the statement that a net is apart from the others: which of them it is not shown to be apart from."""

BUT_CONDUCTORS = ("but for conductors that parts join", "but for conductors that components join")
"""The same in a statement on all conductors."""


_OF_CAPACITANCE = {
    "bench": ("accuracy_farad", "accuracy_farad_ratio"),
    "adapter": ("leads_farad", "leads_open_zeroed"),
}
"""What is written only of a proof that read capacitance."""


class ClaimEntry(_Value):
    """One thing that the proof claims, with the threshold or uncertainty and the rule behind it.

    ``measured_ohm`` is ``None`` for a claim by threshold, and where the path was open (then ``open``).
    ``limit_ohm`` is what wire, contacts or part allow, ``bound_ohm`` what the reading shows the resistance to
    be below (measured + U), whether that decides the limit or not. ``meter_wires`` is 4 for a reading with
    four wires. ``physical_limit_ohm`` stands in documents of schema 1 only.
    ``wires`` are those of the wire list that the claim covers: the open of one would make it untrue, or its
    isolation is what is claimed.
    """

    kind: Literal["continuity", "isolation", "resistance", "component", "stability"]
    subject: str
    statement: str
    decision: Decision
    rule: str
    cavities: tuple[End, ...] = ()
    wires: tuple[str, ...] = ()
    threshold_ohm: float | None = None
    measured_ohm: float | None = None
    open: bool = False
    uncertainty_ohm: float | None = None
    expected_ohm: float | None = None
    physical_limit_ohm: float | None = None
    limit_ohm: float | None = None
    lower_limit_ohm: float | None = None
    bound_ohm: float | None = None
    meter_wires: Literal[2, 4] | None = None

    @property
    def own_limit_ohm(self) -> float | None:
        """What wire, contacts or part allow; in documents of schema 1 that stands beside what was claimed."""
        return self.limit_ohm if self.physical_limit_ohm is None else self.physical_limit_ohm

    @property
    def margin(self) -> float | None:
        """How much of its limit a measured claim leaves unused, from 0 (at the limit) to 1.

        Counts the expanded uncertainty as used, as the decision rule does; below 0 is past the limit.
        """
        if self.measured_ohm is None or not self.limit_ohm:
            return None
        u_ohm = self.uncertainty_ohm or 0.0
        left_ohm = self.limit_ohm - self.measured_ohm - u_ohm
        if not self.lower_limit_ohm:
            return left_ohm / self.limit_ohm
        least_ohm = self.measured_ohm - u_ohm - self.lower_limit_ohm
        return min(left_ohm, least_ohm) / ((self.limit_ohm - self.lower_limit_ohm) / 2)

    @property
    def beyond(self) -> bool:
        """Whether a measured claim reads outside its limits, by however little, or less than nothing."""
        if self.measured_ohm is None:
            return self.open and self.limit_ohm is not None
        least_ohm = self.lower_limit_ohm or -(self.uncertainty_ohm or 0.0)
        return self.measured_ohm < least_ohm or (
            self.limit_ohm is not None and self.measured_ohm > self.limit_ohm
        )


def against(claims: Iterable[ClaimEntry], grade: Grade | None) -> tuple[ClaimEntry, ...]:
    """Return the claims that no pass of this grade may hold, as `Document.against` says."""
    graded = grade is not None and grade is not Grade.WIRE
    return tuple(
        claim
        for claim in claims
        if claim.decision is not Decision.PASS
        and not (
            claim.decision is Decision.UNDECIDED
            and graded
            and claim.kind in ("resistance", "component")
            and not claim.beyond
        )
    )


class WireEntry(_Value):
    """A wire of the description, by its name and the two ends that it joins."""

    name: str
    ends: tuple[End, End]
    colour: str = ""


class ConnectorEntry(_Value):
    """A connector as drawn on the certificate: rows of cavities seen from the mating face."""

    name: str
    kind: str
    description: str = ""
    rows: tuple[tuple[str, ...], ...] = ()
    colours: dict[str, str] = Field(default_factory=dict)


class Document(_Value, Shown):
    """One proof of one loom, whole.

    ``grade`` is what a loom without a fault reached (``None`` for other verdicts), ``grade_text`` says it in
    words with its figures, ``grade_demanded`` is what was asked for. ``risk`` is the greatest probability
    that any joint or part of the loom is beyond what the grade says of it (``None`` where nothing was
    measured). ``meter_check`` says on what it rests that the meter reads ohms at all; "": on nothing.
    ``person`` is who tested, ``entered`` what was entered besides, and ``method`` the name of the method
    ("" in documents from before it had one). ``wires`` is the wire list, in its order. ``watch`` is what was
    watched while the loom was moved, ``shared_places`` are those at which several findings lie,
    ``capacitance`` is what the nets of a loom that passed were asked for, on which later places rest,
    ``learned`` what confirmed causes had taught, in whose order findings name places and alternatives; where
    nothing was watched, asked or learned, or no two lie together, they are not written. ``repeats`` is how
    often each joint and part was read, a number fixed beforehand, for the mean; written where it is more than
    once.
    """

    schema_: Literal[1, 2] = Field(default=2, alias="schema")
    verdict: Verdict
    grade: Grade | None = None
    grade_demanded: Grade | None = None
    grade_text: str = ""
    risk: float | None = None
    meter_check: str = ""
    run: str
    started: str
    ended: str
    person: str = ""
    place: str = ""
    inspection: tuple[str, ...] = ()
    entered: Entered = Entered()
    method: str = ""
    loom: LoomEntry
    bench: BenchEntry
    adapter: AdapterEntry
    findings: tuple[Finding, ...] = ()
    shared_places: tuple[SharedPlace, ...] = ()
    capacitance: tuple[NetFarads, ...] = ()
    learned: Learned | None = None
    coverage: Coverage
    counts: Counts
    repeats: int = Field(default=1, ge=1)
    watch: WatchEntry | None = None
    claims: tuple[ClaimEntry, ...] = ()
    wires: tuple[WireEntry, ...] = ()
    connectors: tuple[ConnectorEntry, ...] = ()
    reasons: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    not_tested: tuple[str, ...] = ()
    journal_digest: str = ""
    software: str = ""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True)

    @model_validator(mode="after")
    def _no_pass_against_its_claims(self) -> Self:
        """Refuse a pass that its own claims, findings or grade contradict."""
        if self.schema_ == 1 or self.verdict is not Verdict.PASS:
            return self
        if self.grade is None or (self.grade_demanded and not self.grade.meets(self.grade_demanded)):
            raise ValueError(f"a pass of grade {self.grade}, where {self.grade_demanded} is demanded")
        faults = [finding.title for finding in self.findings if finding.severity is Severity.FAULT]
        if faults:
            raise ValueError(f"a pass with a fault: {faults[0]}")
        for claim in self.against:
            raise ValueError(f"a pass with a claim that does not hold: {claim.subject}, {claim.statement}")
        return self

    @property
    def against(self) -> tuple[ClaimEntry, ...]:
        """The claims that no pass of this grade may hold: failed ones, and undecided ones it does not allow.

        Below grade ``wire`` a joint or part may be undecided as long as its reading lies within its limits.
        """
        return against(self.claims, self.grade)

    def plain(self) -> dict[str, object]:
        """Return the document as plain JSON values, keys as in the schema.

        >>> import loomproof as lp
        >>> document = lp.verify("tests/records/with_grades/pass.record.json").document()
        >>> document.verdict.value, document.plain()["grade"]
        ('pass', 'bench')
        """
        found = self.model_dump(mode="json", by_alias=True)
        if self.watch is None:  # documents without one are written as they were before there was any
            del found["watch"]
        if self.repeats == 1:
            del found["repeats"]
        if not self.shared_places:
            del found["shared_places"]
        if not self.capacitance:
            del found["capacitance"]
        if self.learned is None:
            del found["learned"]
        if self.entered.reference == ReferenceStandard():  # likewise
            del found["entered"]["reference"]
        if self.bench.reproducibility_ohm is None:
            del found["bench"]["reproducibility_ohm"], found["bench"]["reproducibility_study"]
        if not self.counts.capacitance_readings:
            del found["counts"]["capacitance_readings"]
            for part, names in _OF_CAPACITANCE.items():
                for name in names:
                    del found[part][name]
        for finding in found["findings"]:
            if finding["place"] is None:
                del finding["place"]
        return found
