"""Adapter tables: read, written, checked against loom and bench with every problem named."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.bench.adapter import (
    Adapter,
    Lead,
    in_order,
    parse_adapter,
    read_adapter,
    table_of,
    write_adapter,
)
from loomproof.bench.adapter_fit import check_adapter, problems_of
from loomproof.errors import AdapterError, Do, Todo
from loomproof.loom.model import End

CAVITIES = (End("ECU", "1"), End("ECU", "01"), End("LAMP", "A"))


def test_in_order() -> None:
    adapter = in_order(CAVITIES)
    assert adapter.point_of == {End("ECU", "1"): 1, End("ECU", "01"): 2, End("LAMP", "A"): 3}
    assert adapter.end_of[2] == End("ECU", "01")
    assert adapter.points == (1, 2, 3)
    assert check_adapter(adapter, CAVITIES, 3) == ()


def test_a_table_comes_back(tmp_path: Path) -> None:
    adapter = Adapter(
        "left", (Lead(1, End("ECU", "01"), 0.125, 0.01, "2031-05-04"), Lead(7, End("rear, lamp", 'a"b')))
    )
    write_adapter(adapter, tmp_path / "left.csv")
    assert read_adapter(tmp_path / "left.csv") == adapter
    assert adapter.zeroed == ""
    assert Adapter("x", adapter.entries[:1]).zeroed == "2031-05-04"


@given(
    st.dictionaries(
        st.integers(1, 4096), st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1)
    )
)
def test_any_table_comes_back(given: dict[int, str]) -> None:
    ends = {point: End("C", cavity) for point, cavity in sorted(given.items())}
    entries = tuple(Lead(p, end) for p, end in ends.items() if list(ends.values()).count(end) == 1)
    adapter = Adapter("a", entries)
    if entries:
        assert parse_adapter(table_of(adapter), name="a") == adapter


def test_every_problem_is_named_with_its_place() -> None:
    text = (
        "point,connector,cavity,lead_ohm\n"
        "1,ECU,1,0.1\n"
        "0,ECU,2,\n"
        "2,,3,\n"
        "3,ECU,4,low\n"
        "1,ECU,5,\n"
        "4,ECU,1,\n"
        "5,ECU,6,0.1,9\n"
    )
    with pytest.raises(AdapterError) as caught:
        parse_adapter(text, name="a", file="a.csv")
    places = [(problem.row, problem.column) for problem in caught.value.problems]
    assert places == [
        (3, "point"),
        (4, "connector"),
        (5, "lead_ohm"),
        (6, "point"),
        (7, "cavity"),
        (8, ""),
    ]
    assert "ECU:1 and to ECU:5" in str(caught.value.problems[3])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "column point is missing"),
        ("point,connector\n", "column cavity is missing"),
        ("point,connector,cavity,led_ohm\n", "There is lead_ohm"),
        ("point,connector,cavity,cavity\n", "twice"),
        ("point,connector,cavity\n", "no rows"),
    ],
)
def test_tables_that_cannot_be(text: str, says: str) -> None:
    with pytest.raises(AdapterError) as caught:
        parse_adapter(text, name="a")
    assert any(says in str(problem) for problem in caught.value.problems)


def test_a_missing_table_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(AdapterError) as caught:
        read_adapter(tmp_path / "none.csv")
    assert caught.value.do == Do(Todo.NEW_ADAPTER)


def test_what_does_not_fit_loom_and_bench() -> None:
    adapter = Adapter("a", (Lead(1, End("ECU", "1")), Lead(9, End("ECU", "01")), Lead(2, End("LAMP", "a"))))
    problems = problems_of(adapter, CAVITIES, 8)
    assert [(p.severity, p.message) for p in problems] == [
        ("error", "point 9 goes to ECU:01, and the bench has 8 points"),
        ("error", "point 2 goes to LAMP:a, and the loom has no such cavity"),
        ("warning", "no point goes to LAMP:A; it stays untested"),
    ]
    assert "There is LAMP:A." in [p.cure for p in problems]
    with pytest.raises(AdapterError) as caught:
        check_adapter(adapter, CAVITIES, 8)
    assert len(caught.value.problems) == 2


def test_an_adapter_for_another_loom_is_told_in_a_line_a_connector(tmp_path: Path) -> None:
    table = tmp_path / "tail.csv"
    table.write_text("point,connector,cavity\n" + "".join(f"{i},BODY,{i}\n" for i in range(1, 7)))
    problems = problems_of(read_adapter(table), CAVITIES, 8)
    assert problems[0].place == "tail.csv, row 2, column connector"
    assert problems[0].message == "points 1, 2, 3, 4, 5, 6 go to BODY, and the loom has no such connector"
    assert [problem.severity for problem in problems] == ["error", "warning"]
    assert all(str(end) in problems[1].message for end in CAVITIES)


def leads_to(names: list[str]) -> Adapter:
    return Adapter("a", tuple(Lead(i, End(name, "1")) for i, name in enumerate(names, start=1)))


def test_an_adapter_of_another_loom_is_told_in_one_line() -> None:
    other = leads_to(["A", "B", "C", "D"])
    (problem,) = problems_of(other, CAVITIES, 8)
    assert problem.message == "none of its 4 leads fits this loom; it goes to A, B, C, D"
    assert "another loom" in problem.cure
    every = problems_of(other, CAVITIES, 8, every=True)
    assert [each.message.split(",")[0] for each in every[:4]] == [
        f"point {i} goes to {name}" for i, name in enumerate("ABCD", start=1)
    ]
    most = leads_to(["ECU", *(f"X{i}" for i in range(12))])
    assert problems_of(most, CAVITIES, 16)[0].message.startswith("1 of its 13 leads fits this loom")
    half = leads_to(["ECU", "A", "B", "C", "D"])
    assert len(problems_of(half, CAVITIES, 8)) == 5  # four connectors, and what stays untested


def test_points_that_the_bench_lacks_are_told_in_one_line() -> None:
    adapter = Adapter("a", tuple(Lead(point, end) for point, end in zip((2, 9, 10), CAVITIES, strict=True)))
    (problem,) = problems_of(adapter, CAVITIES, 8)
    assert problem.message == "points 9, 10 go to ECU:01, LAMP:A, and the bench has 8 points"


@pytest.mark.parametrize(
    ("wrong", "right", "near"),
    [
        ("body", "BODY", True),
        ("BODDY", "BODY", True),
        ("BDOY", "BODY", True),
        ("BOTY", "BODY", True),
        ("BOD", "BODY", True),
        ("REAR LAMP", "REAR-LAMP", True),
        ("E-BODY", "BODY", False),
        ("INJ1", "INJ2", False),
        ("C10", "C1", False),
        ("C", "D", False),
    ],
)
def test_only_a_near_name_is_offered(wrong: str, right: str, near: bool) -> None:
    problem = problems_of(leads_to([wrong]), [End(right, "1")], 8)[0]
    assert problem.cure == (f"There is {right}." if near else "")


def test_what_is_no_table_is_told_with_a_cure(tmp_path: Path) -> None:
    (tmp_path / "binary").write_bytes(bytes(range(16)) * 9)
    (tmp_path / "long.csv").write_text("point,connector,cavity\n1,C,1\n2,C," + 140_000 * "x")
    for name, says in (
        ("", "is a folder"),
        ("binary", "it is a binary file, and no CSV"),
        ("long.csv", "row 3: a cell is longer than 131068 characters"),
    ):
        with pytest.raises(AdapterError) as caught:
            read_adapter(tmp_path / name)
        assert says in f"{caught.value} {' '.join(map(str, caught.value.problems))}"
        assert caught.value.do == Do(Todo.NEW_ADAPTER)


def test_a_table_from_a_spreadsheet_with_semicolons_is_read() -> None:
    adapter = parse_adapter("point;connector;cavity\r\n1;ECU;01\r\n", name="a")
    assert adapter.end_of == {1: End("ECU", "01")}


def test_a_lead_to_a_cavity_that_is_not_there_names_its_row(tmp_path: Path) -> None:
    table = tmp_path / "a.csv"
    table.write_text("point,connector,cavity\n2,LAMP,A\n\n1,LAMP,Z9\n")
    (error, _) = problems_of(read_adapter(table), CAVITIES, 8)
    assert (error.file, error.row, error.column) == ("a.csv", 4, "cavity")
    assert error.cure == "There is LAMP:A."


def test_digest_speaks_of_the_table_only() -> None:
    a, b = in_order(CAVITIES, "a"), in_order(CAVITIES, "b")
    assert a.digest == b.digest
    assert a.digest != in_order(CAVITIES[:2]).digest
    assert len(a.digest) == 64


@pytest.mark.parametrize(
    ("cells", "column"),
    [
        ("1e9,,", "lead_ohm"),
        ("0.1,11,", "lead_u_ohm"),
        ("0.1,0.01,yesterday", "zeroed"),
        ("nan,,", "lead_ohm"),
    ],
)
def test_a_lead_that_is_none_is_refused_by_column(cells: str, column: str) -> None:
    head = "point,connector,cavity,lead_ohm,lead_u_ohm,zeroed"
    with pytest.raises(AdapterError) as refused:
        parse_adapter(f"{head}\n1,C1,1,{cells}\n", name="mine")
    (problem,) = refused.value.problems
    assert problem.column == column
    for good in ("2026-05-04", "2026-05-04T10:00:00+00:00", ""):
        parse_adapter(f"{head}\n1,C1,1,0.1,0.01,{good}\n", name="mine")
