"""The store's tables as SQLAlchemy sees them, to query with; `migrations` makes them."""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Integer, LargeBinary, MetaData, Table, Text

from loomproof.records.names import SIMULATED as SIMULATED
from loomproof.records.names import SIMULATED_CHAIN as SIMULATED_CHAIN

METADATA = MetaData()


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False)


def _id(name: str = "id") -> Column[int]:
    return Column(name, BigInteger().with_variant(Integer, "sqlite"), primary_key=True)


def _run_id() -> Column[int]:
    return Column("run_id", BigInteger, nullable=False)


MIGRATIONS = Table("migrations", METADATA, Column("number", Integer, primary_key=True), _text("name"))
IDENTITY = Table("identity", METADATA, Column("name", Text, primary_key=True))
"""One row: the name by which a store is known again, wherever it is moved to."""
LOOMS = Table("looms", METADATA, _id(), _text("name"), _text("serial"), _text("digest"), _text("description"))
BENCHES = Table("benches", METADATA, Column("name", Text, primary_key=True))
RUNS = Table(
    "runs",
    METADATA,
    _id(),
    _text("run"),
    _text("kind"),
    Column("loom_id", BigInteger, nullable=False),
    _text("bench"),
    Column("sequence", BigInteger, nullable=False),
    _text("previous"),
    _text("hash"),
    _text("key"),
    _text("verdict"),
    _text("started"),
    _text("ended"),
    _text("person"),
    _text("adapter"),
    Column("faults", Integer, nullable=False),
    Column("notes", Integer, nullable=False),
)
RECORDS = Table("records", METADATA, _run_id(), Column("packed", LargeBinary, nullable=False))
JOURNALS = Table(
    "journals", METADATA, _run_id(), _text("digest"), Column("packed", LargeBinary, nullable=False)
)
FINDINGS = Table(
    "findings",
    METADATA,
    _run_id(),
    Column("number", Integer, nullable=False),
    _text("kind"),
    _text("cause"),
    _text("severity"),
    _text("title"),
)
FINDING_PLACES = Table(
    "finding_places",
    METADATA,
    _run_id(),
    Column("number", Integer, nullable=False),
    _text("what"),
    _text("name"),
)
COUNTED_RUNS = Table(
    "counted_runs",
    METADATA,
    Column("run_id", BigInteger, primary_key=True, autoincrement=False),
    _text("item"),
    Column("simulated", Integer, nullable=False),
    Column("first_proof", Integer, nullable=False),
    _text("failing_since"),
    Column("mended_s", BigInteger, nullable=False),
    Column("new_faults", Integer, nullable=False),
)
"""What each proof adds to the sums over all: ``item`` stands for its loom (name and serial), ``mended_s`` is,
where it passed, the time from the end of the loom's first failed proof since it last did, else -1."""
FIRST_FAULTS = Table(
    "first_faults",
    METADATA,
    Column("fault", Text, primary_key=True),
    _run_id(),
    Column("number", Integer, nullable=False),
)
"""Each fault of each loom, with the proof that was the first to tell it."""
FAULT_NAMES = Table(
    "fault_names",
    METADATA,
    _run_id(),
    Column("number", Integer, nullable=False),
    Column("simulated", Integer, nullable=False),
    _text("what"),
    _text("name"),
)
"""Of each of them its kind, and the connectors, wires and components that it is at."""
READINGS = Table(
    "readings",
    METADATA,
    _run_id(),
    _text("joint"),
    Column("open", Integer, nullable=False),
    Column("micro_ohm", BigInteger, nullable=False),
    Column("uncertainty_micro_ohm", BigInteger, nullable=False),
    Column("limit_micro_ohm", BigInteger, nullable=False),
)
"""What each joint read, µΩ, as `readings.reading_rows` says."""
REPAIRS = Table(
    "repairs",
    METADATA,
    _id(),
    _run_id(),
    Column("finding", Integer, nullable=False),
    _text("person"),
    _text("done"),
    _text("words"),
)
ANSWERS = Table("answers", METADATA, _id(), _run_id(), _text("said"), _text("words"))
CONFIRMED = Table(
    "confirmed",
    METADATA,
    _id(),
    _run_id(),
    Column("finding", Integer, nullable=False),
    _text("person"),
    _text("said"),
    _text("cause"),
    _text("line"),
)
"""Causes that people confirmed: of which finding, who, when; the line of JSON says the rest."""
SELFTESTS = Table("selftests", METADATA, _id(), _text("tested"), _text("bench"), _text("line"))
"""Benches' own tests: when, of which bench, and the line of JSON that says the rest."""
ADAPTERS = Table("adapters", METADATA, _text("digest"), _text("name"), _text("first_used"))
BENCH_CHECKS = Table(
    "bench_checks",
    METADATA,
    _run_id(),
    Column("number", Integer, nullable=False),
    _text("name"),
    Column("passed", Integer, nullable=False),
    _text("words"),
)
HEADS_MET = Table(
    "heads_met",
    METADATA,
    _run_id(),
    Column("number", Integer, nullable=False),
    _text("store"),
    _text("bench"),
    Column("sequence", BigInteger, nullable=False),
    _text("hash"),
)
"""The last records of other chains that a record names, as its bench met them."""
OUTBOX = Table("outbox", METADATA, _id(), _text("name"), _text("server"), _text("why"))
"""Of a store that is an outbox: what its chains' names end with (the newest counts), and for which server."""
HANDED_OVER = Table(
    "handed_over",
    METADATA,
    Column("what", Text, primary_key=True),
    Column("row_id", BigInteger, primary_key=True),
)
"""Of an outbox: which rows of its tables the server has said that it keeps."""
CERTIFICATES = Table(
    "certificates",
    METADATA,
    _id(),
    _run_id(),
    _text("made"),
    _text("digest"),
    Column("pdf", LargeBinary, nullable=False),
)
DELETIONS = Table(
    "deletions", METADATA, _id(), _text("hash"), _text("made"), _text("by_whom"), _text("entry")
)
"""Deletions of bodies by a rule, in their order: the hash of the signed entry, when, by whom, the entry."""
DELETED_BODIES = Table(
    "deleted_bodies",
    METADATA,
    Column("run_id", BigInteger, primary_key=True, autoincrement=False),
    Column("deletion_id", BigInteger, nullable=False),
)
"""The runs whose bodies were deleted, each with the deletion."""
