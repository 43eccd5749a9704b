"""What never changes in one workshop: where its file is found, what it may say, and what comes of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Capabilities, Opening
from loomproof.errors import InputError, UnfitError
from loomproof.jobs.gate import Assured
from loomproof.jobs.gate import cleared as gate
from loomproof.jobs.prove import prove
from loomproof.jobs.workshop import Workshop, find, read, uncalibrated
from loomproof.jobs.workshop_places import FILE, places
from loomproof.loom.reading import load
from loomproof.measuring.events import Event, Prompt, finish
from loomproof.planning.request import Request
from loomproof.results.entered import Entered, Meter
from tests.bench.torture import FIXTURES
from tests.cleared import Answers, cleared
from tests.measuring.scanner_bench import OHMS, scanner_bench
from tests.test_clearance import Counting

TAIL = load(FIXTURES / "tail_lamp").loom
METER = Meter(make="Own build 6", serial="M-9", calibration="CAL-55", calibration_due=date(2031, 5, 4))

WHOLE = """
bench = "serial:/dev/ttyACM0"
adapter = "tables/adapter.csv"
person = "A. Tester"
authoriser = "B. Signer"
place = "bench 2"
store = "kept.sqlite"
dates = "DD.MM.YYYY"
require_calibration = true

[laboratory]
name = "Back Lane Looms"
address = "3 Back Lane, Ambleforth"

[meter]
make = "Own build 6"
serial = "M-9"
calibration = "CAL-55"
calibration_due = 2031-05-04
"""


def written(folder: Path, text: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / FILE
    path.write_text(text, encoding="utf-8")
    return path


def said(path: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        read(path)
    return [str(problem).removeprefix(f"{path}, ") for problem in caught.value.problems]


def test_all_that_a_workshop_may_say_is_read(tmp_path: Path) -> None:
    shop = read(written(tmp_path, WHOLE))
    assert (shop.bench, shop.person, shop.authoriser) == ("serial:/dev/ttyACM0", "A. Tester", "B. Signer")
    assert (shop.place, shop.dates, shop.require_calibration) == ("bench 2", "DD.MM.YYYY", True)
    assert (shop.laboratory.name, shop.laboratory.address) == ("Back Lane Looms", "3 Back Lane, Ambleforth")
    assert shop.meter == METER


def test_each_wrong_key_is_named_by_its_line_with_a_cure(tmp_path: Path) -> None:
    text = (
        'persn = "x"\n'
        "place = 3\n"
        'require_calibration = "yes"\n'
        'dates = "dd.mm"\n'
        "[laboratory]\n"
        'name = "a\\u0007b"\n'
        'adress = "x"\n'
        "[meter]\n"
        'serial = "x"\n'
        'calibration_due = "2027-01-01"\n'
    )
    assert said(written(tmp_path, text)) == [
        "row 1, column persn: 'persn' is not known here. There is person.",
        "row 2, column place: 3 is not text. Put it in double quotes.",
        "row 3, column require_calibration: 'yes' is neither true nor false",
        "row 4, column dates: 'dd.mm' is not known here. Known: 'YYYY-MM-DD', 'DD.MM.YYYY', 'DD/MM/YYYY', "
        "'MM/DD/YYYY' or 'DD Mon YYYY'.",
        "row 7, column laboratory.adress: 'adress' is not known here. There is address.",
        "row 10, column meter.calibration_due: '2027-01-01' is no date. Write it like 2027-03-31, "
        "without quotes.",
    ]
    (flawed,) = said(written(tmp_path, '[laboratory]\nname = "a\\u0007b"\n'))
    assert flawed.startswith("row 2, column laboratory.name: the text ")
    assert said(written(tmp_path, "meter = 3\n")) == [
        "row 1, column meter: a table is expected here. Write [meter]."
    ]
    assert said(written(tmp_path, '[meter]\nserial = "1"\nserial = "2"\n'))[0].startswith(
        "row 3: it is not TOML"
    )


@pytest.mark.parametrize(
    "text",
    [
        '[meter]\nsreial = "1"\n',
        'meter.sreial = "1"\n',
        'meter = { sreial = "1" }\n',
        '[ meter ]\n"sreial"="1"\n',
    ],
)
def test_a_key_is_found_however_its_table_is_written(text: str, tmp_path: Path) -> None:
    row = 2 if "\n" in text.strip() else 1
    assert said(written(tmp_path, text)) == [
        f"row {row}, column meter.sreial: 'sreial' is not known here. There is serial."
    ]


def test_the_file_is_looked_for_beside_the_loom_then_here_then_in_the_users_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine, here, looms = (tmp_path / name for name in ("mine", "here", "looms"))
    here.mkdir()
    monkeypatch.setenv("LOOMPROOF_HOME", str(mine))
    monkeypatch.chdir(here)
    assert find(looms / "tail").path is None
    for folder in (mine, here, looms):
        path = written(folder, f'place = "{folder.name}"\n')
        found = find(looms / "tail")
        assert (found.path, found.workshop.place) == (path, folder.name)
    assert find().workshop.place == "here"
    assert places(looms / "tail") == (looms / FILE, here / FILE, mine / FILE)


def test_the_users_folder_is_the_platforms_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """XDG Base Directory Specification; the folders of the others are common practice."""
    monkeypatch.setenv("HOME", str(tmp_path))
    for environment, platform, folder in (
        ({}, "linux", tmp_path / ".config"),
        ({"XDG_CONFIG_HOME": "/set"}, "linux", Path("/set")),
        ({"XDG_CONFIG_HOME": "not/absolute"}, "linux", tmp_path / ".config"),
        ({}, "darwin", tmp_path / "Library" / "Application Support"),
        ({"APPDATA": "/roaming"}, "win32", Path("/roaming")),
    ):
        assert places(None, environment, platform)[-1] == folder / "loomproof" / FILE


def test_paths_are_taken_from_the_files_folder(tmp_path: Path) -> None:
    written(tmp_path, WHOLE)
    found = find(tmp_path / "tail")
    assert found.store == str(tmp_path / "kept.sqlite")
    assert found.adapter("serial:/dev/ttyACM0") == str(tmp_path / "tables" / "adapter.csv")
    for word in ("in-order", "postgresql://me@here/db"):
        written(tmp_path, f'adapter = "{word}"\nstore = "{word}"\n')
        assert (find(tmp_path / "tail").store, find(tmp_path / "tail").adapter("sim:")) == (word, word)


def test_adapter_and_meter_are_those_of_the_workshops_bench_only(tmp_path: Path) -> None:
    written(tmp_path, WHOLE)
    found = find(tmp_path / "tail")
    assert found.workshop.entered("serial:/dev/ttyACM0", {}).meter == METER
    assert found.workshop.entered("tcp:other:7000", {}).meter == Meter()
    assert found.adapter("tcp:other:7000") is None


def test_what_is_stated_goes_before_what_the_file_says() -> None:
    shop = Workshop(authoriser="B. Signer", meter=METER)
    assert shop.entered("sim:", {}).authoriser == "B. Signer"
    stated = shop.entered("sim:", {"authoriser": "C. Other", "customer": "Quarry Motors"})
    assert (stated.authoriser, stated.customer, stated.meter) == ("C. Other", "Quarry Motors", METER)


def test_a_calibration_holds_on_its_last_day() -> None:
    assert uncalibrated(METER, date(2031, 5, 4)) == ""
    assert uncalibrated(METER, date(2031, 5, 5)) == (
        "the calibration CAL-55 of the meter Own build 6 M-9 was due on 2031-05-04"
    )
    assert uncalibrated(Meter(), date(2031, 5, 4)) == "no calibration certificate of the meter is entered"
    undated = METER.model_copy(update={"calibration_due": None})
    assert "is due is not entered" in uncalibrated(undated, date(2031, 5, 4))


def asked(day: str, meter: Meter) -> Request:
    return Request(TAIL, in_order(TAIL.cavities), "run", f"{day}T00:00:00Z", entered=Entered(meter=meter))


def clear(request: Request, bench: Counting, *, required: bool) -> str:
    """Clear the bench; return what a person is told."""
    assured = Assured(meter_v=0.0, require_calibration=required)
    told: list[Event] = []
    finish(gate(request, bench, Answers(), assured), told.append)
    return " ".join(each.text for each in told if isinstance(each, Prompt))


def test_a_calibration_that_ran_out_is_told_before_the_first_reading() -> None:
    words = "The calibration CAL-55 of the meter Own build 6 M-9 was due on 2031-05-04"
    for day, told in (("2031-05-04", False), ("2031-05-05", True)):
        bench = Counting(replace(OHMS, points=16))
        assert (words in clear(asked(day, METER), bench, required=False)) is told
        assert bench.driven == 0


@pytest.mark.parametrize("meter", [METER, Meter(), METER.model_copy(update={"calibration_due": None})])
def test_a_required_calibration_refuses_a_bench_before_the_first_reading(meter: Meter) -> None:
    bench = Counting(replace(OHMS, points=16))
    with pytest.raises(UnfitError, match="require_calibration = true") as caught:
        clear(asked("2031-05-05", meter), bench, required=True)
    assert "workshop.toml" in caught.value.cure
    assert bench.driven == 0


def test_a_bench_that_reads_no_ohms_needs_no_calibration() -> None:
    clear(asked("2031-05-05", Meter()), Counting(Capabilities(16)), required=True)


@pytest.mark.parametrize("simulated", [True, False])
def test_a_simulated_bench_has_not_read_with_the_workshops_meter(simulated: bool) -> None:
    bench = scanner_bench(TAIL)
    bench.opened = Opening(simulated=simulated)
    request = asked("2031-05-04", METER)
    done = finish(prove(request, bench, cleared(TAIL, bench, meter_v=0.0))).document
    assert done.entered.meter == (Meter() if simulated else METER)


def test_the_documented_example_holds(tmp_path: Path) -> None:
    page = (FIXTURES.parent / "docs" / "howto" / "shop.md").read_text(encoding="utf-8")
    example = page.partition("\n```toml\n")[2].partition("```")[0]
    shop = read(written(tmp_path, example))
    assert (shop.bench, shop.meter.calibration_due) == ("serial:/dev/ttyACM0", date(2027, 3, 31))
    assert all(key in example for key in (*Workshop.model_fields, *Meter.model_fields))
