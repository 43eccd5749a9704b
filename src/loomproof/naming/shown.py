"""What stands on the screen while a loom is named: texts in an order, for whoever draws them."""

from __future__ import annotations

from loomproof.errors import InputError
from loomproof.loom.colours import name_of
from loomproof.loom.model import Circuit, End
from loomproof.loom.nameless import is_nameless
from loomproof.loom.text import first_of
from loomproof.naming.answers import Named
from loomproof.naming.desk import Desk
from loomproof.naming.progress import bare_plugs, counts, progress_said
from loomproof.naming.screen import EndLine, Offer, Shown
from loomproof.naming.typed import saying
from loomproof.results.figures import ohms, ohms_within

KEYS = (
    ("Enter", "answer"),
    ("1-4", "take a suggestion"),
    ("Tab", "complete"),
    ("↑ ↓", "other end of the net"),
    ("PgDn", "next nameless"),
    ("Ctrl-Z", "take back"),
    ("Esc", "clear"),
    ("Ctrl-D", "stop till later"),
)
"""The keys, and what they do."""


def shown(desk: Desk) -> Shown:
    """Return what stands there."""
    named = desk.named
    found = counts(named)
    left = [f"{name} ({count})" for name, count in bare_plugs(named)]
    return Shown(
        named.loom.name,
        found.ends,
        found.of_ends,
        progress_said(named),
        f"nameless: {first_of(left, 8)}" if left else "Every end has a name. Ctrl-D ends.",
        _heading(desk),
        tuple(_line(desk, end) for end in desk.net),
        tuple(_parts(named, desk.chosen)),
        tuple(
            Offer(str(number), each.says, f"{each.reason} ({each.source})")
            for number, each in enumerate(desk.suggestions, start=1)
        ),
        _question(desk),
        desk.text,
        desk.cursor,
        _meant(desk),
        tuple((each.word, each.meaning) for each in desk.candidates),
        desk.said,
        desk.refused,
        KEYS,
        desk.touches,
        named.names,
    )


def _heading(desk: Desk) -> str:
    if desk.chosen is None:
        return "Touch any end with the probe: it says which net that is."
    how = "Probe on" if desk.held else "Touched" if desk.felt else "By the description"
    if len(desk.net) == 1:
        return f"{how}: joined to nothing else"
    told = ", the probe tells the net, not which end" if desk.felt else ""
    return f"{how}: a net of {len(desk.net)} ends{told}"


def _line(desk: Desk, end: End) -> EndLine:
    named = desk.named
    now = named.names[end]
    plug = named.loom.by_name[now.connector]
    bare = is_nameless(plug)
    wires = named.loom.wires_at.get(now, ())
    words = [name_of(wire.colour) for wire in wires if wire.colour]
    if bare:
        words.append(f"plug of {len(plug.cavities)}" if len(plug.cavities) > 1 else "single end")
    if not bare and now != end:
        words.append(f"traced as {end}")
    ohm = ""
    if desk.chosen is not None and end != desk.chosen:
        read = desk.ohms.get(frozenset((desk.chosen, end)))
        ohm = "" if read is None else ohms_within(*read)
    return EndLine(str(now), end == desk.chosen, bare, ", ".join(words), ohm, end)


def _parts(named: Named, chosen: End | None) -> list[str]:
    if chosen is None:
        return []
    found = []
    for part in named.parts_at(named.names[chosen]):
        value = f", {ohms(part.resistance_ohm)}" if part.resistance_ohm is not None else ""
        found.append(f"{part.kind.value} {part.name}{value} between {' and '.join(map(str, part.ends))}")
    circuit = named.circuit_at(named.names[chosen])
    if circuit:
        known = named.loom.circuit_by_name.get(circuit, Circuit(circuit))
        purpose = f": {known.purpose}" if known.purpose not in ("", circuit) else ""
        found.insert(0, f"for {circuit}{purpose}" + (f", {known.designation}" if known.designation else ""))
    return found


def _question(desk: Desk) -> str:
    if desk.chosen is None:
        return "No end is chosen"
    return f"What is {desk.named.names[desk.chosen]}?"


def _meant(desk: Desk) -> str:
    """Return what Enter would do with the line; "" where there is none, and where an error stands."""
    if desk.chosen is None or not desk.text.strip() or desk.refused:
        return ""
    try:
        return saying(desk.named, desk.meant)
    except InputError as error:
        return f"not yet: {error.message}"
