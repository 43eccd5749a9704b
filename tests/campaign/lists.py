"""Random lists whose truth is known, read as people would: right, asked first, stopped, or wrong.

A wrong netlist is one that joins or parts anything otherwise than the truth, whatever was answered; a wrong
colour is one that is neither the wire's nor empty. The list of a number depends on nothing but the number.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter

from loomproof.errors import InputError
from loomproof.loom.lists.questions import Answers
from loomproof.loom.lists.reading import understand
from tests.loom.list_maker import TRUE_CODE, Made, make
from tests.loom.list_truth import nets_of
from tests.results import table_file

ANSWERS = {
    "joints": "joined",
    "blank": "none",
    "pinless": "leave out",
    "ranges": "names",
    "brackets": "name",
    "parted": "cavities",
}


def outcome_of(made: Made) -> tuple[str, int]:
    """Return how a list came out, and how many of its wires have a wrong colour."""
    answers = Answers(columns=made.columns, connectors=made.connectors)
    asked = False
    for _ in range(8):
        try:
            reading = understand(made.data, made.file, answers=answers)
        except InputError:
            return "refused", 0
        if not reading.open:
            break
        asked = True
        more = _answered(reading.open[0].name, answers, made)
        if more is None:
            return "stopped with a question", 0
        answers = more
    if reading.loom is None:
        return ("stopped with a question" if reading.open else "refused"), 0
    colours = sum(
        wire.colour not in ("", made.colours[ends])
        for wire in reading.loom.wires
        if (ends := frozenset((end.connector, end.cavity) for end in wire.ends)) in made.colours
    )
    if nets_of(reading.loom) != made.nets:
        return "WRONG NETS", colours
    return ("right, after a question" if asked else "right"), colours


def _answered(name: str, answers: Answers, made: Made) -> Answers | None:
    """Return the answers with that of a person who knows the loom."""
    if name == "colour_code":
        return Answers(answers.columns, answers.connectors, answers.said, colour_code=TRUE_CODE[made.code])
    known = made.answers.get(name, ANSWERS.get(name, ""))
    if not known or name in answers.said:
        return None
    said = {**answers.said, name: known}
    return Answers(answers.columns, answers.connectors, said, colour_code=answers.colour_code)


def main(argv: list[str] | None = None) -> int:
    """Read so many lists, write the table, return 1 where one came out wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="a few lists, and nothing kept")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--lists", type=int, default=2000)
    arguments = parser.parse_args(argv)
    start = time.monotonic()
    counts: Counter[tuple[str, str]] = Counter()
    wrong: list[str] = []
    count = 100 if arguments.short else arguments.lists
    for number in range(arguments.first, arguments.first + count):
        made = make(number)
        outcome, colours = outcome_of(made)
        counts[made.shape, outcome] += 1
        counts["wrong colours", outcome] += colours
        if outcome == "WRONG NETS" or colours:
            wrong.append(
                f"list {number}: {outcome}, {colours} wrong colours ({made.shape}, {', '.join(made.spoilt)})"
            )
    kinds = ("right", "right, after a question", "stopped with a question", "refused", "WRONG NETS")
    shapes = sorted({shape for shape, _ in counts} - {"wrong colours"})
    lines = [f"| shape | {' | '.join(kinds)} |", "| --- |" + " ---: |" * len(kinds)]
    lines += [f"| {shape} | {' | '.join(str(counts[shape, kind]) for kind in kinds)} |" for shape in shapes]
    total = [sum(counts[shape, kind] for shape in shapes) for kind in kinds]
    lines += [f"| all {count} | {' | '.join(map(str, total))} |", ""]
    lines += [
        f"Wires with a wrong colour: {sum(n for (what, _), n in counts.items() if what == 'wrong colours')}."
    ]
    lines += wrong[:40]
    command = f"python -m tests.campaign.lists --first {arguments.first} --lists {count}"
    table_file("campaign", "lists", lines, time.monotonic() - start, short=arguments.short, command=command)
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main())
