"""What one more look at a loom showed, told of a run's findings: which explanations are left."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from loomproof.diagnosis import Effect, Taken, named, narrow, read_observation, weight_table
from loomproof.jobs.archive import Archive
from loomproof.results.document import Document

CAUSE_HEADS = ("", "cost", "kind", "cause", "explains", "equals", "smallest")
COST_HEADS = ("explanation", "cost", "reason")


@dataclass(frozen=True)
class Narrowed:
    """Findings with the answers taken, what became of each, and whether the new ones are kept."""

    document: Document
    taken: tuple[Taken, ...] = ()
    kept: bool = True


def narrowed(archive: Archive, run: str, saw: Sequence[str] = (), *, forget: bool = False) -> Narrowed:
    """Return a run's findings under the answers kept with it and these new ones, which are kept as well.

    ``run`` may be a results file: answers about one are not kept. With ``forget`` those kept before are taken
    back. Raises `UsageError` for an answer that names nothing of the findings, and as `Archive.document`.
    """
    document = archive.document(run)
    known = named(document.findings)
    new = [read_observation(text, known) for text in saw]
    in_store = not run.endswith(".json")
    if in_store and forget:
        archive.answer(run, [""])
    before = [read_observation(text, known) for text in (archive.answers(run) if in_store else ())]
    if not (before or new):
        return Narrowed(document)
    closed, taken = narrow(document.findings, [*before, *new])
    keep = [t.answer for t in taken if t.answer in new and t.effect in (Effect.NARROWS, Effect.NOTHING)]
    if in_store:
        archive.answer(run, map(str, keep))
    colours = {
        wire: colour for f in document.findings for wire, colour in zip(f.wires, f.wire_colours, strict=False)
    }
    entries = tuple(finding.stated(colours) for finding in closed)
    told = document.model_copy(update={"findings": entries})
    return Narrowed(told, tuple(taken), in_store or not keep)


def reasoning(document: Document) -> str:
    """Return by which rule findings are reported, and what those of a proof cost in all, in a sentence."""
    known = [entry.cost for entry in document.findings if entry.cost is not None]
    total = f" Here it is {math.fsum(known):.2f}." if known else ""
    return (
        "The explanation of the smallest total cost is reported, one broken wire being 1; equal ones stand "
        f"beside it.{total}"
    )


def cause_texts(document: Document) -> Iterator[tuple[str, ...]]:
    """Yield a row of texts for each finding, as `CAUSE_HEADS` names them."""
    for number, entry in enumerate(document.findings, 1):
        yield (
            str(number),
            "" if entry.cost is None else f"{entry.cost:.2f}",
            entry.kind.value,
            entry.cause,
            "; ".join(shown.text for shown in entry.evidence[:4]),
            str(len(entry.alternatives)),
            "proved" if entry.proved else "not proved",
        )


def cost_texts() -> Iterator[tuple[str, ...]]:
    """Yield a row of texts for each explanation that is weighed, as `COST_HEADS` names them."""
    for row in weight_table():
        if not row.name.startswith("bound_"):
            yield row.name, f"{row.cost / 1000:.2f}", row.reason
