"""The kept outcomes of mutants, and the table drawn from them: each part with its command and date."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

RESULTS = Path(__file__).parent / "results"
KEPT = RESULTS / "mutants.jsonl"
TABLE = RESULTS / "mutants.md"
EQUIVALENT = RESULTS / "mutants_equivalent.toml"
ALIVE = ("survived", "unreached", "unrun")


@dataclass(frozen=True, slots=True, order=True)
class Named:
    """A mutant by what does not move: file below src/loomproof, function, text of the change."""

    file: str
    function: str
    text: str

    def __str__(self) -> str:
        where = f" {self.function}" if self.function else ""
        return f"{self.file}{where}: {self.text}"


@dataclass(frozen=True, slots=True)
class Part:
    """What became of mutants ``first`` to ``first + made`` of a room's sample, on one state of the code.

    ``alive`` are those that no test noticed, each with its outcome: ``survived``, ``unreached`` (no test runs
    the line) or ``unrun``. ``again``: when the survivors were last run anew, after tests were added.
    """

    seed: int
    room: str
    first: int
    made: int
    killed: int
    timeout: int
    commit: str
    date: str
    command: str
    again: str = ""
    alive: tuple[tuple[Named, str], ...] = field(default=())


def read_parts(path: Path = KEPT) -> list[Part]:
    """Return the kept parts; none where nothing was kept."""
    if not path.exists():
        return []
    found = []
    for line in path.read_text(encoding="utf-8").splitlines():
        row = json.loads(line)
        row["alive"] = tuple((Named(**each["mutant"]), each["outcome"]) for each in row["alive"])
        found.append(Part(**row))
    return found


def with_part(parts: Sequence[Part], new: Part, *, whole: bool = False) -> list[Part]:
    """Return the parts with one more, in place of those it runs anew.

    ``whole``: it is all of its room's share, which is smaller than it was where code went, and takes the
    place of every part of the room. Raises `ValueError` where it overlaps one that it does not hold whole:
    sums would count mutants twice.
    """
    kept = []
    for each in parts:
        if whole and (each.seed, each.room) == (new.seed, new.room):
            continue
        apart = (each.seed, each.room) != (new.seed, new.room) or not (
            each.first < new.first + new.made and new.first < each.first + each.made
        )
        if apart:
            kept.append(each)
        elif not (new.first <= each.first and each.first + each.made <= new.first + new.made):
            last = each.first + each.made - 1
            raise ValueError(f"mutants {each.first} to {last} of {each.room} are kept: begin beside them")
    return sorted([*kept, new], key=lambda each: (each.seed, each.room, each.first))


def keep(parts: Sequence[Part], kept: Path = KEPT, table: Path = TABLE) -> str:
    """Write the parts and the table drawn from them; return the table."""
    rows = []
    for each in parts:
        row = asdict(each)
        row["alive"] = [{"mutant": asdict(name), "outcome": outcome} for name, outcome in each.alive]
        rows.append(json.dumps(row, ensure_ascii=False))
    kept.write_text("".join(f"{row}\n" for row in rows), encoding="utf-8")
    text = drawn(parts, equivalents())
    table.write_text(text, encoding="utf-8")
    return text


def equivalents(path: Path = EQUIVALENT) -> dict[Named, str]:
    """Return the mutants that change nothing anyone could see, with the reason."""
    if not path.exists():
        return {}
    rows = tomllib.loads(path.read_text(encoding="utf-8")).get("mutant", ())
    return {Named(row["file"], row["function"], row["text"]): row["reason"] for row in rows}


def share(parts: Sequence[Part], known: dict[Named, str]) -> float:
    """Return the share that survives of the mutants not called equivalent."""
    alive = [name for part in parts for name, _ in part.alive]
    left = sum(name not in known for name in alive)
    return left / max(1, sum(part.made for part in parts) - (len(alive) - left))


def drawn(parts: Sequence[Part], known: dict[Named, str]) -> str:
    """Return the table in Markdown: rooms, parts, and those left alive."""
    head = "mutants | killed | timeout | survived | reached by no test | not run | called equivalent"
    lines = [
        "# Small wrongs put into the code: which do the tests of its room notice?",
        "",
        "A timeout is a mutant noticed by the clock. The share is that of what survives, is reached by no",
        "test or was not run, among those not called equivalent.",
        "",
        f"| room | {head} | share |",
        f"|{' --- |' * 9}",
    ]
    rooms = sorted({part.room for part in parts})
    for room in [*rooms, "all"]:
        mine = [part for part in parts if room in (part.room, "all")]
        lines.append(f"| {room} | {_counts(mine, known)} | {100 * share(mine, known):.1f} % |")
    lines += ["", f"| part | {head} | commit | date | command |", f"|{' --- |' * 11}"]
    for part in parts:
        name = f"{part.room} {part.first} to {part.first + part.made - 1}"
        date = part.date + (f"; survivors again {part.again}" if part.again else "")
        lines.append(f"| {name} | {_counts([part], known)} | {part.commit} | {date} | `{part.command}` |")
    lines += ["", "Left alive:", ""]
    left = [(name, outcome) for part in parts for name, outcome in part.alive if name not in known]
    lines += [f"- {outcome}: `{name}`" for name, outcome in left]
    return "\n".join(lines) + "\n"


def _counts(parts: Sequence[Part], known: dict[Named, str]) -> str:
    alive = [each for part in parts for each in part.alive]
    left = [outcome for name, outcome in alive if name not in known]
    numbers = [sum(part.made for part in parts), sum(part.killed for part in parts)]
    numbers += [sum(part.timeout for part in parts), *(left.count(word) for word in ALIVE)]
    return " | ".join(map(str, [*numbers, len(alive) - len(left)]))
