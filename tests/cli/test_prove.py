"""The main job from the command line, wrong inputs included, over the real link to a real process."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from loomproof.loom.ends import End
from loomproof.results.document import Document
from loomproof.results.findings import Kind
from tests.cli.running import loomproof, process

TAIL = "tail_lamp"
ENGINE = "hillclimb_engine"


def proved(loom: Path, bench: str, out: Path, *words: str | Path) -> subprocess.CompletedProcess[str]:
    return loomproof("prove", loom, "--bench", bench, "--out", out, *words)


def results(folder: Path) -> Document:
    [path] = folder.glob("*.results.json")
    return Document.model_validate_json(path.read_text(encoding="utf-8"))


def test_a_sound_loom_passes_and_leaves_everything(fixtures: Path, tmp_path: Path) -> None:
    done = process("prove", fixtures / TAIL, "--bench", "sim:", "--out", tmp_path, "--person", "Ilse Torvald")
    assert done.returncode == 0, done.stderr
    assert "PASS" in done.stdout
    assert "battery" in done.stderr, "cautions come before a proof"
    names = sorted(path.name.split(".", 1)[1] for path in tmp_path.iterdir())
    assert names == ["journal.jsonl", "pass.pdf", "record.json", "results.json"]
    document = results(tmp_path)
    assert document.person == "Ilse Torvald"
    assert document.coverage.untested == ()
    for kind in ("record.json", "pass.pdf"):
        [path] = tmp_path.glob(f"*.{kind}")
        assert loomproof("verify", path).returncode == 0
    log = loomproof("log")
    assert document.run in log.stdout


@pytest.mark.parametrize(
    ("fault", "kind", "cavities"),
    [
        ("open%20W2", "open", {"BODY:2", "LAMP:2"}),
        ("short%20BODY:1%20BODY:2", "short", {"BODY:1", "BODY:2"}),
        ("swap%20LAMP:1%20LAMP:2", "miswire", {"LAMP:1", "LAMP:2"}),
        ("high%204.7%20W6%20at%20EARTH:1", "high_resistance", {"LAMP:6", "EARTH:1"}),
    ],
)
def test_a_fault_is_found_and_named(
    fixtures: Path, tmp_path: Path, fault: str, kind: str, cavities: set[str]
) -> None:
    done = proved(fixtures / TAIL, f"sim:?fault={fault}", tmp_path, "--json", "-")
    assert done.returncode == 1, done.stderr
    document = json.loads(done.stdout)
    [finding] = document["findings"]
    assert finding["kind"] == kind
    named = set(finding["cavities"]).union(*(other["cavities"] for other in finding["alternatives"]))
    assert cavities <= named
    assert finding["repair"]
    assert finding["evidence"]


def test_replay_gives_the_same_results_byte_for_byte(fixtures: Path, tmp_path: Path) -> None:
    bench = "sim:?fault=open%20W45&fault=high%204.7%20W27"
    assert loomproof("prove", fixtures / ENGINE, "--bench", bench, "--out", tmp_path).returncode == 1
    [journal] = tmp_path.glob("*.journal.jsonl")
    [first] = tmp_path.glob("*.results.json")
    again = loomproof("replay", journal, fixtures / ENGINE, "--json", tmp_path / "again.json")
    assert again.returncode == 1, again.stderr
    assert (tmp_path / "again.json").read_bytes() == first.read_bytes()


def test_replay_refuses_another_description(fixtures: Path, tmp_path: Path) -> None:
    assert loomproof("prove", fixtures / TAIL, "--bench", "sim:", "--out", tmp_path).returncode == 0
    [journal] = tmp_path.glob("*.journal.jsonl")
    done = loomproof("replay", journal, fixtures / ENGINE)
    assert done.returncode == 2
    assert "tail lamp" in done.stderr.casefold()
    assert "Give the loom that the journal was read on" in done.stderr


def test_replay_refuses_a_doctored_journal(fixtures: Path, tmp_path: Path) -> None:
    assert loomproof("prove", fixtures / TAIL, "--bench", "sim:", "--out", tmp_path).returncode == 0
    [journal] = tmp_path.glob("*.journal.jsonl")
    lines = journal.read_text(encoding="utf-8").splitlines(keepends=True)
    for changed_to in ('{"n":5,"t":0,"ask":["sense",["#H1"]],"answer":["#H1"]}\n', "nonsense\n"):
        journal.write_text("".join([*lines[:5], changed_to, *lines[6:]]), encoding="utf-8")
        done = loomproof("replay", journal, fixtures / TAIL)
        assert done.returncode == 2
        assert f"{journal}, line 6: " in done.stderr
    journal.write_text("".join([*lines, lines[-1]]), encoding="utf-8")
    done = loomproof("replay", journal, fixtures / TAIL)
    assert done.returncode == 2
    assert "goes on after" in done.stderr
    journal.write_text("".join(lines[:-3]), encoding="utf-8")
    done = loomproof("replay", journal, fixtures / TAIL)
    assert done.returncode == 3  # broken off is not wrong, and claims nothing
    assert "incomplete" in done.stderr


def changed(fixtures: Path, tmp_path: Path, file: str, old: str, new: str) -> Path:
    loom = tmp_path / "loom"
    shutil.copytree(fixtures / TAIL, loom)
    text = (loom / file).read_text(encoding="utf-8")
    assert old in text
    (loom / file).write_text(text.replace(old, new), encoding="utf-8")
    return loom


def test_a_missing_table(fixtures: Path, tmp_path: Path) -> None:
    loom = tmp_path / "loom"
    shutil.copytree(fixtures / TAIL, loom)
    (loom / "wires.csv").unlink()
    done = loomproof("prove", loom, "--bench", "sim:", "--out", tmp_path / "out")
    assert done.returncode == 2
    assert "wires.csv" in done.stderr


def test_an_unknown_cavity_in_a_wire(fixtures: Path, tmp_path: Path) -> None:
    loom = changed(fixtures, tmp_path, "wires.csv", "W1,BODY,1,", "W1,BODY,9,")
    done = loomproof("check", loom)
    assert done.returncode == 2
    for told in ("wires.csv", "row 2", "BODY:9"):
        assert told in done.stderr


def test_a_cavity_used_twice(fixtures: Path, tmp_path: Path) -> None:
    loom = changed(fixtures, tmp_path, "wires.csv", "W2,BODY,2,", "W2,BODY,1,")
    done = loomproof("check", loom)
    assert done.returncode == 2
    for told in ("wires.csv", "row 3", "BODY:1"):
        assert told in done.stderr


def test_an_adapter_point_that_the_bench_lacks(fixtures: Path, tmp_path: Path) -> None:
    adapter = tmp_path / "adapter.csv"
    adapter.write_text("point,connector,cavity,lead_ohm\n99,BODY,1,0.05\n", encoding="utf-8")
    done = loomproof(
        "prove", fixtures / TAIL, "--bench", "sim:", "--adapter", adapter, "--out", tmp_path / "out"
    )
    assert done.returncode == 2
    assert "point 99" in done.stderr


def test_a_cavity_without_a_point_blocks_a_pass_until_it_is_waived(fixtures: Path, tmp_path: Path) -> None:
    adapter = tmp_path / "adapter.csv"
    rows = [f"{point},BODY,{point},0" for point in range(1, 7)]
    rows += [f"{point + 6},LAMP,{point},0" for point in range(1, 7)]
    adapter.write_text("\n".join(["point,connector,cavity,lead_ohm", *rows]) + "\n", encoding="utf-8")
    words = ("prove", fixtures / TAIL, "--bench", "sim:", "--adapter", adapter)
    done = loomproof(*words, "--out", tmp_path / "first")
    assert done.returncode == 3, done.stdout + done.stderr
    assert results(tmp_path / "first").verdict == "incomplete"
    assert "EARTH:1" in done.stdout
    done = loomproof(*words, "--waive", "EARTH:1", "--out", tmp_path / "second")
    assert done.returncode == 0, done.stdout + done.stderr
    assert results(tmp_path / "second").coverage.waived == (End("EARTH", "1"),)
    done = loomproof(*words, "--waive", "EARTH:2", "--out", tmp_path / "third")
    assert done.returncode == 2
    assert "There is EARTH:1." in done.stderr


@pytest.mark.parametrize("address", ["serial:/dev/no-such-port", "tcp:127.0.0.1:1"])
def test_a_bench_that_is_not_there(fixtures: Path, tmp_path: Path, address: str) -> None:
    done = loomproof(
        "prove", fixtures / TAIL, "--bench", address, "--adapter", "in-order", "--out", tmp_path / "out"
    )
    assert done.returncode == 3
    assert address.split(":", 1)[1].split("?")[0].split(":")[0] in done.stderr


@pytest.mark.parametrize(
    "address", ["", "usb:1", "sim:?fault=opne%20W2", "sim:?fault=open%20W99", "tcp:nowhere"]
)
def test_an_address_or_fault_that_cannot_be_meant(fixtures: Path, tmp_path: Path, address: str) -> None:
    done = proved(fixtures / TAIL, address, tmp_path, "--adapter", "in-order")
    assert done.returncode == 2, done.stderr


def test_a_real_bench_wants_an_adapter_table(fixtures: Path, tmp_path: Path) -> None:
    done = loomproof("prove", fixtures / TAIL, "--bench", "tcp:127.0.0.1:1", "--out", tmp_path)
    assert done.returncode == 2
    assert "adapter" in done.stderr


class Simulator:
    """The simulator as a user starts it, so that the test can kill it."""

    def __init__(self, loom: Path, *words: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "loomproof", "simulate", str(loom), "--pty", *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert self.process.stdout
        self.address = self.process.stdout.readline().strip()

    def __enter__(self) -> Simulator:
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.communicate()


def proving(fixtures: Path, address: str, out: Path) -> subprocess.Popen[str]:
    words = [str(fixtures / ENGINE), "--bench", address, "--adapter", "in-order", "--out", str(out)]
    return subprocess.Popen(
        [sys.executable, "-m", "loomproof", "prove", *words],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=dict(os.environ),
    )


def wait_for_journal(out: Path, lines: int, process: subprocess.Popen[str]) -> Path:
    """Wait until so many readings are on disk (the simulator is paced, so the run is still going)."""
    deadline = time.monotonic() + 30
    while time.monotonic() < deadline and process.poll() is None:
        for path in out.glob("*.journal.jsonl"):
            if path.read_bytes().count(b"\n") >= lines:
                return path
        time.sleep(0.01)
    raise AssertionError(process.communicate())


@pytest.mark.parametrize("more", [(), ("--hook-ups",)])
def test_what_could_not_be_sealed_is_not_begun(fixtures: Path, tmp_path: Path, more: tuple[str, ...]) -> None:
    """A store or a data folder that cannot be had is told before the bench is asked anything."""
    (tmp_path / "file").write_text("no folder", encoding="utf-8")
    words: tuple[str | Path, ...] = (
        "prove",
        fixtures / TAIL,
        "--bench",
        "sim:",
        "--out",
        tmp_path / "out",
        *more,
    )
    for store, home in ((tmp_path / "file" / "store.db", tmp_path), (tmp_path / "s.db", tmp_path / "file")):
        done = loomproof(*words, "--store", store, LOOMPROOF_HOME=str(home))
        assert done.returncode == 3, done.stderr
        assert str(tmp_path / "file") in done.stderr
        assert not list(tmp_path.rglob("*.journal.jsonl"))


def test_a_scanner_that_dies_in_the_middle(fixtures: Path, tmp_path: Path) -> None:
    with Simulator(fixtures / ENGINE, "--paced") as simulator:
        process = proving(fixtures, simulator.address, tmp_path)
        journal = wait_for_journal(tmp_path, 15, process)
        simulator.process.kill()
        out, err = process.communicate(timeout=60)
    assert process.returncode == 3, out + err
    assert "Traceback" not in err
    assert journal.read_bytes().count(b"\n") >= 15
    assert not list(tmp_path.glob("*.pdf")), "a broken run leaves no certificate"
    assert f"What was read so far is in {journal}; nothing is claimed from it." in " ".join(err.split())
    for words in (("log", fixtures / ENGINE), ("history", fixtures / ENGINE)):
        listed = loomproof(*words, COLUMNS="300").stdout
        assert "BROKEN OFF" in listed
        assert str(journal) in listed


@pytest.mark.parametrize(
    "numbers",
    [
        (signal.SIGINT,),
        (signal.SIGTERM, signal.SIGHUP, signal.SIGINT) * 10,  # as an impatient hand gives them, and more
    ],
)
def test_stopped_in_the_middle(fixtures: Path, tmp_path: Path, numbers: tuple[signal.Signals, ...]) -> None:
    with Simulator(fixtures / ENGINE, "--paced", "--four-wire", "0.001:0.002") as simulator:
        process = proving(fixtures, simulator.address, tmp_path)
        journal = wait_for_journal(tmp_path, 15, process)
        for number in numbers:
            process.send_signal(number)
            time.sleep(0.01)  # how fast they come is what is tried
        out, err = process.communicate(timeout=60)
        assert process.returncode == 3, out + err
        assert "Traceback" not in err
        assert str(journal) in err
        assert "Prove again." in err
        for line in journal.read_text(encoding="utf-8").splitlines():
            json.loads(line)
        # The scanner is free again, with nothing driven: the next proof passes.
        again = loomproof(
            "prove",
            fixtures / ENGINE,
            "--bench",
            simulator.address,
            "--adapter",
            "in-order",
            "--out",
            tmp_path / "2",
        )
        assert again.returncode == 0, again.stderr


def test_the_plainest_bench(fixtures: Path, tmp_path: Path) -> None:
    """Two-wire, ±(0.1 Ω + 1 %): what it can't decide is not claimed, and what was shown is said."""
    done = loomproof("prove", fixtures / "tail_lamp", "--bench", "sim:?acc=0.1:0.01", "--out", tmp_path)
    assert done.returncode == 0, done.stdout
    claims = [claim for claim in results(tmp_path).claims if claim.kind == "resistance"]
    undecided = [claim for claim in claims if claim.decision == "undecided"]
    assert undecided
    assert all("beyond this bench" in claim.statement for claim in undecided)
    for claim in undecided:
        assert (claim.bound_ohm or 0) > (claim.limit_ohm or 0) >= (claim.measured_ohm or 0)
    document = results(tmp_path)
    assert document.grade == "bench"
    assert f"{len(undecided)} of {len(claims)} limits lie beyond this bench" in document.grade_text
    assert document.grade_text in " ".join(done.stdout.split())


def test_demo(tmp_path: Path) -> None:
    done = process("demo", "--out", tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    documents = [
        Document.model_validate_json(path.read_text(encoding="utf-8"))
        # As they were written: two runs of one second have names in any order.
        for path in sorted(tmp_path.glob("*.results.json"), key=lambda path: path.stat().st_mtime_ns)
    ]
    assert [document.verdict for document in documents] == ["fail", "pass"]
    kinds = sorted(finding.kind for finding in documents[0].findings)
    assert kinds == ["high_resistance", "miswire", "open", "short"]
    places = {finding.kind: finding.place for finding in documents[0].findings}
    broken, short = places[Kind.OPEN], places[Kind.SHORT]
    assert broken is not None
    assert short is not None
    assert broken.answer == "wire"
    assert short.answer in ("connector", "either"), (
        "close to the plug the wires' first centimetres fit as well"
    )
    assert "ECU-A" in {end.connector for end in short.ends}
    (stretch,) = broken.stretches
    assert stretch.low_m < 1.7 / 2 < stretch.high_m, (
        "an open that names no place is in the middle of its wire"
    )
    loom, serial = documents[0].loom.name.replace(" ", "-"), documents[0].loom.serial
    assert len(list(tmp_path.glob(f"*_{loom}_{serial}.fail.pdf" if serial else f"*_{loom}.fail.pdf"))) == 1
    assert "Nothing is kept" in loomproof("log").stderr, "a demo's proofs are none of a loom that was here"
    assert len(list(tmp_path.glob("*.pdf"))) == 2


def test_import_of_the_open_data_proves(tmp_path: Path) -> None:
    place = os.environ.get("LOOMPROOF_OPEN_DATA")
    folder = Path(place) if place else Path(__file__).parents[3] / "shared" / "open_data" / "kbl"
    file = folder / "generator_cable_kbl23.kbl"
    if not file.is_file():
        pytest.skip("open data not found: set LOOMPROOF_OPEN_DATA to the folder with the KBL samples")
    loom = tmp_path / "loom"
    assert loomproof("import", file, "--to", loom).returncode == 0
    assert loomproof("prove", loom, "--bench", "sim:", "--out", tmp_path / "good").returncode == 0
    wire = (loom / "wires.csv").read_text(encoding="utf-8").splitlines()[1].split(",")[0]
    done = loomproof("prove", loom, "--bench", f"sim:?fault=open%20{wire}", "--out", tmp_path / "bad")
    assert done.returncode == 1
    [finding] = results(tmp_path / "bad").findings
    assert finding.kind == "open"
    assert wire in finding.wires


def test_a_fault_that_still_stands_is_never_called_mended(fixtures: Path, tmp_path: Path) -> None:
    bench = "sim:?fault=high%204.7%20W3&fault=leak%2020000%20BODY:1%20BODY:4&seed="
    found = []
    for seed in ("1", "2"):
        out = tmp_path / seed
        assert proved(fixtures / TAIL, bench + seed, out).returncode == 1
        found.append(results(out).findings)
        [record] = out.glob("*.record.json")
        assert "mended" not in json.loads(record.read_text(encoding="utf-8"))["body"]
    first, second = found
    assert len(first) == 2
    assert [(f.key, f.title) for f in first] == [(f.key, f.title) for f in second]
    assert [f.evidence for f in first] != [f.evidence for f in second], "the readings did differ"
    counted = loomproof("report").stdout
    assert "faults by wire 1 W3 faults by loom" in " ".join(counted.split()), counted
