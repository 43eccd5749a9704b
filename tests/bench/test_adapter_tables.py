"""Adapter tables cell by cell: what is taken, what is refused with its place, and what is said of zeroing."""

from __future__ import annotations

import itertools
import math
import random

import pytest

from loomproof.bench.adapter import Adapter, Lead, parse_adapter, places_of, read_adapter, table_of
from loomproof.bench.adapter_fit import _is_slip, problems_of
from loomproof.bench.references import Reference, shared_points
from loomproof.errors import AdapterError, Do, Problem, Todo
from loomproof.loom.model import End

HEAD = "point,connector,cavity,lead_ohm,lead_u_ohm,zeroed,spread_ohm,meter,lead_pf,lead_u_pf,open_zeroed\n"


def of_cells(**given: str) -> Adapter:
    """The adapter of one row: point 1 to A:1, with these cells."""
    cells = {"point": "1", "connector": "A", "cavity": "1"} | given
    return parse_adapter(HEAD + ",".join(cells.get(head, "") for head in HEAD.strip().split(",")), name="a")


ZEROED = {"zeroed": "2026-05-04", "meter": "m"}
TAKEN = [
    ({}, Lead(1, End("A", "1"))),
    ({"point": "12"}, Lead(12, End("A", "1"))),
    ({"lead_ohm": "10", "lead_u_ohm": "10"}, Lead(1, End("A", "1"), 10.0, 10.0)),
    ({"lead_ohm": "0", "lead_u_ohm": "0.5"}, Lead(1, End("A", "1"), 0.0, 0.5)),
    (ZEROED | {"lead_ohm": "-10"}, Lead(1, End("A", "1"), -10.0, 0.0, "2026-05-04", meter="m")),
    ({"spread_ohm": "0.25"}, Lead(1, End("A", "1"), spread_ohm=0.25)),
    ({"lead_pf": "-1000", "lead_u_pf": "1000"}, Lead(1, End("A", "1"), lead_f=-1e-9, lead_u_f=1e-9)),
    ({"open_zeroed": "2026-05-04"}, Lead(1, End("A", "1"), open_zeroed="2026-05-04")),
]


@pytest.mark.parametrize(("cells", "lead"), TAKEN)
def test_what_a_row_is_read_as(cells: dict[str, str], lead: Lead) -> None:
    assert of_cells(**cells).entries == (lead,)
    assert of_cells(**cells).entries[0].row == 2


REFUSED = [
    *(({"point": text}, "point") for text in ("", "0", "-1", "x", "1.0", "²")),
    *(({"connector": ""}, "connector"), ({"cavity": ""}, "cavity")),
    *(({"lead_ohm": text}, "lead_ohm") for text in ("10.001", "-0.001", "x", "nan", "inf")),
    *((ZEROED | {"lead_ohm": text}, "lead_ohm") for text in ("-10.001", "10.001")),
    *(({key: ZEROED[key], "lead_ohm": "-0.1"}, "lead_ohm") for key in ZEROED),
    *((ZEROED | {"lead_u_ohm": "-0.1"}, "lead_u_ohm"), ({"lead_u_ohm": "11"}, "lead_u_ohm")),
    *((ZEROED | {"spread_ohm": "-0.1"}, "spread_ohm"), ({"spread_ohm": "x"}, "spread_ohm")),
    *(({key: "2026-13-01"}, key) for key in ("zeroed", "open_zeroed")),
    *(({key: text}, key) for key in ("lead_pf", "lead_u_pf") for text in ("1000.1", "-1001", "x", "nan")),
]


@pytest.mark.parametrize(("cells", "column"), REFUSED)
def test_a_wrong_cell_is_told_with_its_place(cells: dict[str, str], column: str) -> None:
    with pytest.raises(AdapterError) as refused:
        of_cells(**cells)
    (problem,) = refused.value.problems
    assert (problem.row, problem.column, problem.file) == (2, column, "adapter table")
    assert str(refused.value).endswith("is wrong in one place")


def test_all_that_is_wrong_is_told_at_once() -> None:
    with pytest.raises(AdapterError) as refused:
        of_cells(point="0", connector="", cavity="", lead_ohm="x", lead_u_ohm="-1", zeroed="x")
    columns = [problem.column for problem in refused.value.problems]
    assert columns == ["point", "connector", "cavity", "lead_ohm", "lead_u_ohm", "zeroed"]


REFERENCE_HEAD = "point,connector,cavity,reference_to,reference_ohm,reference_u_ohm\n"


@pytest.mark.parametrize(
    ("row", "columns"),
    [
        ("3,,,4,10,0.1", []),
        ("3,,,4,10,", []),
        ("3,,,4,5E-324,0", []),
        ("3,,,4,0,0", ["reference_ohm"]),
        ("3,,,4,,", ["reference_ohm"]),
        ("3,,,4,-1,0", ["reference_ohm"]),
        ("3,,,4,inf,0", ["reference_ohm"]),
        ("3,,,4,x,y", ["reference_ohm", "reference_u_ohm"]),
        ("3,,,4,10,-0.1", ["reference_u_ohm"]),
        ("3,,,4,10,inf", ["reference_u_ohm"]),
        ("3,,,3,10,0", ["reference_to"]),
        ("x,,,0,10,0", ["point", "reference_to"]),
        ("0,,,4,10,0", ["point"]),
        ("3,A,2,4,10,0", ["connector", "cavity"]),
    ],
)
def test_a_row_of_a_reference(row: str, columns: list[str]) -> None:
    text = REFERENCE_HEAD + "1,A,1,,,\n" + row
    if not columns:
        adapter = parse_adapter(text, name="a")
        figures = row.split(",")
        assert adapter.references == (Reference(3, 4, float(figures[4]), float(figures[5] or 0)),)
        assert adapter.references[0].sets == (0b100, 0b1000)
        assert parse_adapter(table_of(adapter), name="a") == adapter
        return
    with pytest.raises(AdapterError) as refused:
        parse_adapter(text, name="a")
    assert [(problem.row, problem.column) for problem in refused.value.problems] == [(3, c) for c in columns]


def test_points_that_a_reference_shares() -> None:
    assert shared_points([Reference(1, 2, 1.0), Reference(3, 2, 1.0)], []) == [2]
    assert shared_points([Reference(1, 2, 1.0), Reference(1, 4, 1.0)], [4, 9]) == [1, 4]
    assert shared_points([Reference(1, 2, 1.0), Reference(3, 4, 1.0)], [5]) == []
    with pytest.raises(AdapterError) as refused:
        parse_adapter(REFERENCE_HEAD + "1,A,1,,,\n2,,,1,10,0", name="a")
    assert [problem.message for problem in refused.value.problems] == [
        "point 1 has a reference and something else"
    ]


def test_rows_that_are_too_long_or_blank() -> None:
    head = "point,connector,cavity\n"
    with pytest.raises(AdapterError) as refused:
        parse_adapter(head + "1,A,1\n2,A,2,x\n ,,\n3,A,3,,\n", name="a")
    assert [(p.row, p.message) for p in refused.value.problems] == [
        (3, "4 cells stand under 3 heads"),
        (5, "5 cells stand under 3 heads"),
    ]
    assert [lead.point for lead in parse_adapter(head + "2,A,2\n,,\n1,A,1\n", name="a").entries] == [1, 2]
    only_reference = REFERENCE_HEAD + "3,,,4,10,0\n"
    with pytest.raises(AdapterError) as refused:
        parse_adapter(only_reference, name="a")
    assert [p.message for p in refused.value.problems] == ["the adapter table has no rows"]


@pytest.mark.parametrize(
    ("heads", "missing"),
    [
        ("connector,cavity", ["point"]),
        ("point,cavity", ["connector"]),
        ("point,connector", ["cavity"]),
        ("lead_ohm", ["point", "connector", "cavity"]),
    ],
)
def test_three_columns_are_needed(heads: str, missing: list[str]) -> None:
    with pytest.raises(AdapterError) as refused:
        parse_adapter(heads + "\n", name="a")
    assert [p.message for p in refused.value.problems] == [
        f"the column {name} is missing" for name in missing
    ]
    assert all(p.row == 1 for p in refused.value.problems)


def test_one_point_or_cavity_for_two_is_told() -> None:
    head = "point,connector,cavity\n"
    for text, messages in (
        ("1,A,1\n1,A,2\n", ["point 1 goes to A:1 and to A:2"]),
        ("1,A,1\n1,B,1\n", ["point 1 goes to A:1 and to B:1"]),
        ("1,A,1\n2,A,1\n", None),
        ("1,A,1\n1,A,1\n", None),
    ):
        with pytest.raises(AdapterError) as refused:
            parse_adapter(head + text, name="a")
        if messages is not None:
            assert [p.message for p in refused.value.problems] == messages
        assert all(p.row == 3 for p in refused.value.problems)
    shared = parse_adapter(head + "1,A,1\n1,B,1\n", name="a", shared=True)
    assert [str(lead.end) for lead in shared.entries] == ["A:1", "B:1"]


@pytest.mark.parametrize("seed", range(30))
def test_a_table_is_read_as_it_was_written(seed: int) -> None:
    rng = random.Random(seed)
    learned, opened = rng.random() < 0.5, rng.random() < 0.5
    leads = []
    for point in range(1, rng.randint(2, 6)):
        day = rng.choice(["", "2026-05-04"])
        leads.append(
            Lead(
                point,
                End(f"C {point % 2}", f"0{point}"),
                rng.choice([0.0, 0.125]),
                rng.choice([0.0, 0.01]),
                day if learned else "",
                spread_ohm=rng.choice([0.0, 0.002]) if learned else 0.0,
                meter=rng.choice(["", "bench, of brass"]) if learned else "",
                lead_f=50e-12 if opened and day else 0.0,
                lead_u_f=1e-12 if opened and day else 0.0,
                open_zeroed=day if opened else "",
            )
        )
    references = (Reference(20, 21, 100.0, 0.5), Reference(23, 22, 0.1)) if rng.random() < 0.5 else ()
    adapter = Adapter("a", tuple(leads), references=references)
    again = parse_adapter(table_of(adapter), name="a")
    assert [(x.point, x.end, x.lead_ohm, x.zeroed, x.meter, x.open_zeroed) for x in again.entries] == [
        (x.point, x.end, x.lead_ohm, x.zeroed, x.meter, x.open_zeroed) for x in leads
    ]
    for new, old in zip(again.entries, leads, strict=True):
        assert (new.lead_f, new.lead_u_f) == pytest.approx((old.lead_f, old.lead_u_f))
        assert (new.lead_u_ohm, new.spread_ohm) == (old.lead_u_ohm, old.spread_ohm)
    assert again.references == references
    assert table_of(again) == table_of(adapter)
    assert (again.digest, again.wiring) == (adapter.digest, adapter.wiring)


def leads(*zeroed: str, meter: str = "m", spread: float = 0.01) -> Adapter:
    return Adapter(
        "a",
        tuple(
            Lead(k, End("A", str(k)), zeroed=day, meter=meter, spread_ohm=spread * k)
            for k, day in enumerate(zeroed, start=1)
        ),
    )


def test_an_adapter_is_zeroed_where_every_lead_is() -> None:
    assert leads("2026-05-04", "2026-05-01").zeroed == "2026-05-01"
    assert leads("2026-05-04", "").zeroed == ""
    assert leads().zeroed == ""


@pytest.mark.parametrize(
    ("adapter", "spread"),
    [
        (leads("2026-05-04", "2026-05-03"), 0.02),
        (leads("2026-05-04", ""), None),
        (leads("2026-05-05", "2026-05-04"), None),
        (leads(), None),
        (leads("2026-05-04", meter="other"), None),
        (leads("2026-05-04", spread=0.0), None),
        (leads("2026-05-03"), 0.01),
        (leads("2026-05-02"), None),
    ],
)
def test_a_meters_offset_drops_out_with_leads_learned_with_it_of_late(
    adapter: Adapter, spread: float | None
) -> None:
    """On the day or the day before, nor afterwards."""
    assert adapter.offset_spread_ohm("m", "2026-05-04T10:00:00+02:00") == spread


def test_what_a_lead_is_known_to() -> None:
    """Learned: half of the expanded uncertainty; written down: nothing to twice itself, a/√3."""
    end = End("A", "1")
    assert Lead(1, end, 0.3, 0.08, "2026-05-04").standard_u_ohm(0.03) == 0.04
    assert Lead(1, end, 0.3, 0.0, "2026-05-04").standard_u_ohm(0.03) == 0.0
    assert Lead(1, end, 0.3, 0.08).standard_u_ohm(0.03) == 0.04
    assert Lead(1, end, 0.3).standard_u_ohm(0.03) == pytest.approx(0.3 / math.sqrt(3))
    assert Lead(1, end, 0.01).standard_u_ohm(0.03) == 0.03


def test_two_adapters_are_the_same_wherever_their_rows_stand() -> None:
    one = Lead(1, End("A", "1"), row=2)
    assert one == Lead(1, End("A", "1"), row=7)
    assert Adapter("a", (one,), file="x.csv") == Adapter("a", (one,), file="y.csv")


def test_how_many_places_are_wrong() -> None:
    wrong = Problem("wrong", "f.csv", row=2)
    assert places_of([wrong]) == "one place"
    assert places_of([wrong] * 2) == "2 places"


def test_a_folder_is_no_table(tmp_path: object) -> None:
    with pytest.raises(AdapterError, match="is a folder; an adapter table is one CSV file") as refused:
        read_adapter(tmp_path)  # type: ignore[arg-type]  # pytest's folder
    assert refused.value.do == Do(Todo.NEW_ADAPTER)


def one_slip(a: str, b: str) -> bool:
    """One letter more, less or other, or two that changed places: by trying them all."""
    letters = set(a + b)
    edits = {a[:k] + a[k + 1 :] for k in range(len(a))}
    edits |= {a[:k] + c + a[k:] for k in range(len(a) + 1) for c in letters}
    edits |= {a[:k] + c + a[k + 1 :] for k in range(len(a)) for c in letters}
    edits |= {a[:k] + a[k + 1] + a[k] + a[k + 2 :] for k in range(len(a) - 1)}
    return b in edits


def test_a_slip_of_the_finger_is_one_letter_or_two_exchanged() -> None:
    words = ["".join(w) for n in (3, 4) for w in itertools.product("ab", repeat=n)] + [
        "abcd",
        "acbd",
        "abdc",
        "bacd",
    ]
    for a, b in itertools.product(words, repeat=2):
        assert _is_slip(a, b) == one_slip(a, b), (a, b)


@pytest.mark.parametrize(
    ("wrong", "right", "slip"),
    [
        ("ecu-a", "ECU A", True),
        ("ecu_a", "ECUA", True),
        ("C1", "C2", False),
        ("LAMP1", "LAMP2", False),
        ("LAMP1", "LMAP1", True),
        ("LAMP1", "LAMP", False),
        ("AB", "AC", False),
        ("ABC", "AB", False),
        ("LAMP", "PUMP", False),
    ],
)
def test_another_number_is_no_slip(wrong: str, right: str, slip: bool) -> None:
    assert _is_slip(wrong, right) is slip


def test_hardly_any_lead_that_fits_is_one_error() -> None:
    """Where fewer than one in ten fits, and more than three are strange, it is another loom's."""
    cavities = [End("ECU", str(k)) for k in range(1, 9)]

    def told(fitting: int, strange: int) -> list[str]:
        ends = [*cavities[:fitting], *(End(f"X{k}", "1") for k in range(strange))]
        adapter = Adapter("a", tuple(Lead(k, end) for k, end in enumerate(ends, start=1)))
        return [
            problem.message for problem in problems_of(adapter, cavities, 99) if problem.severity == "error"
        ]

    assert len(told(8, 0)) == 0
    assert len(told(4, 5)) == 5
    assert told(0, 9)[0].startswith("none of its 9 leads fits this loom; it goes to X0")
    assert told(1, 12)[0].startswith("1 of its 13 leads fits this loom")
    assert len(told(1, 9)) == 9
    assert len(told(1, 10)) == 1
    assert len(told(0, 3)) == 3
    assert told(2, 30)[0].startswith("2 of its 32 leads fit this loom; it goes to ECU")
