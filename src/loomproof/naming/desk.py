"""The naming of a loom as a dialogue: what happens goes in, what stands there comes out.

No bench and no screen is known here: a front end gives events to `step`, which returns the desk after them,
and draws `loomproof.naming.shown.shown` of it. Ends are spoken of by the names of the beginning.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import assert_never

from loomproof.errors import InputError
from loomproof.loom.model import End
from loomproof.naming.answers import Answer, Named, after, answered
from loomproof.naming.completing import Candidate, Known, completions
from loomproof.naming.doubts import doubts, question
from loomproof.naming.happening import Happened, Key, Letters, Lifted, Measured, Touch
from loomproof.naming.suggesting import Suggestion, suggestions
from loomproof.naming.typed import read_answer

LONGEST_LINE = 400
"""Letters that are taken into a line: more is a key that hangs, or something pasted. Our convention."""


@dataclass(frozen=True)
class Desk:
    """All that is there while naming a loom.

    ``net`` is what was touched last, or chosen with a key (then ``felt`` is false), ``chosen`` the end of it
    that is spoken of, ``picked`` whether that was chosen with a key. ``began`` is how many answers were given
    before today. ``asked`` is the answer of which it was asked whether it is meant. ``said`` is what stands
    under the line, ``refused`` whether that is an error.
    """

    named: Named
    known: Known = field(default_factory=Known)
    net: tuple[End, ...] = ()
    chosen: End | None = None
    picked: bool = False
    felt: bool = False
    held: bool = False
    text: str = ""
    cursor: int = 0
    ohms: Mapping[frozenset[End], tuple[float, float]] = field(default_factory=dict)
    said: str = ""
    refused: bool = False
    touches: int = 0
    began: int = 0
    stopped: bool = False
    tabbed: tuple[str, int] | None = None
    asked: Answer | None = None

    @cached_property
    def suggestions(self) -> tuple[Suggestion, ...]:
        """What the chosen end probably is."""
        if self.chosen is None:
            return ()
        return suggestions(self.named, self.chosen, {pair: ohm for pair, (ohm, _) in self.ohms.items()})

    @cached_property
    def candidates(self) -> tuple[Candidate, ...]:
        """How the line may go on."""
        text = self.tabbed[0] if self.tabbed else self.text[: self.cursor]
        plugs = [each.answer.connector for each in self.suggestions if each.answer.connector]
        return completions(self.named, self.known, self.chosen, text, plugs) if text else ()

    @property
    def meant(self) -> Answer:
        """What the line says, of the end that it means. Raises `InputError`.

        The probe tells no end from another of its net. Where no key picked one, an end of it that has the
        typed name already is meant, else a nameless one with the typed number at the adapter's plug.
        """
        assert self.chosen is not None
        answer = read_answer(self.named, self.chosen, self.text)
        if self.picked or not answer.cavity:
            return answer
        place, names = End(answer.connector, answer.cavity), self.named.names
        bare = set(self.named.nameless)
        same = [end for end in self.net if names[end] == place]
        same += [end for end in (self.chosen, *self.net) if end in bare and end.cavity == place.cavity]
        return replace(answer, end=same[0]) if same else answer

    @property
    def to_read(self) -> tuple[End, End] | None:
        """The next pair of ends of the net whose ohms are not known yet; none while the probe is on."""
        if self.held or self.chosen is None:
            return None
        others = (end for end in self.net if end != self.chosen)
        return next(
            ((self.chosen, end) for end in others if frozenset((self.chosen, end)) not in self.ohms), None
        )


def step(desk: Desk, happened: Happened) -> Desk:
    """Return the desk after something happened."""
    match happened:
        case Touch():
            return _touched(desk, happened)
        case Lifted():
            return replace(desk, held=False)
        case Measured(a, b, ohm, u_ohm):
            return replace(desk, ohms={**desk.ohms, frozenset((a, b)): (ohm, u_ohm)})
        case Letters(text):
            return _lettered(desk, text)
        case Key():
            return _pressed(desk, happened)
        case _:
            assert_never(happened)


def steps(desk: Desk, happened: Iterable[Happened]) -> Desk:
    """Return the desk after several things."""
    for each in happened:
        desk = step(desk, each)
    return desk


# -- the probe ---------------------------------------------------------------------------------------


def _touched(desk: Desk, touch: Touch) -> Desk:
    desk = replace(desk, held=True, touches=desk.touches + 1)
    if not touch.ends:
        points = ", ".join(map(str, touch.bare_points))
        return _says(
            desk, f"The probe reads at point {points}, and no lead of the adapter goes there.", bad=True
        )
    if desk.text.strip() and set(touch.ends) != set(desk.net):
        ends, begun_for = _few(desk, touch.ends), desk.named.names[desk.chosen] if desk.chosen else "none"
        return _says(
            desk,
            f"Touched {ends}, but a line is begun for {begun_for}. Enter it, or clear it with Esc, and touch "
            "again.",
            bad=True,
        )
    if desk.text.strip():
        return desk
    chosen = _likeliest(desk, touch.ends)
    desk = replace(desk, net=touch.ends, chosen=chosen, picked=False, felt=True, tabbed=None)
    desk = _says(desk, "", text="")
    bare = set(desk.named.nameless)
    if not bare & set(touch.ends):
        every = (
            "This end has its name"
            if len(touch.ends) == 1
            else f"All {len(touch.ends)} ends of it have names"
        )
        return _says(desk, f"{every} already; what is typed corrects the chosen one.")
    apart = _apart(desk, touch.ends)
    if apart:
        return _says(
            desk,
            f"Traced as one net with {_few(desk, apart)}, which the probe does not reach now: is a lead off, "
            "or is the wire broken?",
            bad=True,
        )
    return desk


def _apart(desk: Desk, ends: tuple[End, ...]) -> tuple[End, ...]:
    """Return ends that were traced on the net of those that are touched, and read otherwise now."""
    named = desk.named
    nets = {id(net): net for net in (named.net_of[named.names[end]] for end in ends)}
    on = [named.traced_of[end] for net in nets.values() for end in net.cavities]
    return tuple(end for end in on if end not in ends)


def _likeliest(desk: Desk, ends: tuple[End, ...]) -> End:
    """Return which end of a net is meant: a nameless one, where the person was last, of a small plug."""
    named = desk.named
    bare = set(named.nameless)
    last = named.answers[-1].end.connector if named.answers else ""
    size = {c.name: len(c.cavities) for c in named.traced.connectors}
    return min(ends, key=lambda end: (end not in bare, end.connector != last, size[end.connector]))


# -- the keys ----------------------------------------------------------------------------------------


def _lettered(desk: Desk, text: str) -> Desk:
    clean = "".join(mark for mark in text if mark.isprintable())
    if not desk.text and len(clean) == 1 and clean.isascii() and clean.isdigit() and desk.suggestions:
        return _taken(desk, int(clean))
    if not desk.text and not clean.strip():
        return _says(desk, "A name that begins with a figure can be typed now.", text=" ")
    if len(desk.text) + len(clean) > LONGEST_LINE:
        return _says(
            desk, f"No line is longer than {LONGEST_LINE} letters: the rest was not taken.", bad=True
        )
    after_it = desk.text[: desk.cursor] + clean + desk.text[desk.cursor :]
    return replace(desk, text=after_it, cursor=desk.cursor + len(clean), said="", refused=False, tabbed=None)


def _pressed(desk: Desk, key: Key) -> Desk:
    if key is not Key.COMPLETE:
        desk = replace(desk, tabbed=None)
    match key:
        case Key.ENTER:
            return _entered(desk)
        case Key.COMPLETE:
            return _completed(desk)
        case Key.NEXT | Key.PREVIOUS:
            return _next_nameless(desk, 1 if key is Key.NEXT else -1)
        case Key.OTHER_END | Key.OTHER_END_BACK:
            return _other_end(desk, 1 if key is Key.OTHER_END else -1)
        case Key.UNDO:
            return _undone(desk)
        case Key.STOP:
            return replace(desk, stopped=True)
        case Key.UNKNOWN:
            return _says(desk, "That key does nothing here; the last lines say which do.", bad=True)
        case Key.ERASE | Key.ERASE_WORD | Key.CLEAR | Key.LEFT | Key.RIGHT | Key.FIRST | Key.LAST:
            return _edited(desk, key)
        case _:
            assert_never(key)


def _edited(desk: Desk, key: Key) -> Desk:
    text, at = desk.text, desk.cursor
    if key is Key.ERASE:
        text, at = text[: max(at - 1, 0)] + text[at:], max(at - 1, 0)
    elif key is Key.ERASE_WORD:
        kept = text[:at].rstrip().rpartition(" ")
        head = kept[0] + kept[1]
        text, at = head + text[at:], len(head)
    elif key is Key.CLEAR:
        text, at = "", 0
    elif key is Key.LEFT:
        at = max(at - 1, 0)
    elif key is Key.RIGHT:
        at = min(at + 1, len(text))
    elif key is Key.FIRST:
        at = 0
    elif key is Key.LAST:
        at = len(text)
    return replace(desk, text=text, cursor=at, said="", refused=False)


def _entered(desk: Desk) -> Desk:
    if desk.chosen is None:
        return _says(
            desk, "Nothing is touched yet. Touch an end, or press PgDn for a nameless one.", bad=True
        )
    if not desk.text.strip():
        first = "; 1 takes the first suggestion" if desk.suggestions else ""
        return _says(desk, f"Type what it is, like INJ1:2 RD/WH injector{first}.", bad=True, text="")
    try:
        return _answered(desk, desk.meant)
    except InputError as error:
        return _says(desk, _told(error), bad=True)


def _taken(desk: Desk, number: int) -> Desk:
    found = desk.suggestions
    if not 1 <= number <= len(found):
        return _says(
            desk,
            f"There is no suggestion {number}. Before a name that begins with a figure press the space bar.",
            bad=True,
        )
    try:
        return _answered(desk, found[number - 1].answer)
    except InputError as error:
        return _says(desk, _told(error), bad=True)


def _answered(desk: Desk, answer: Answer) -> Desk:
    named = after(desk.named, answer)
    asked = question(desk.named, answer)
    if asked and desk.asked != answer:
        return _says(replace(desk, asked=answer), asked, bad=True)
    now = named.names[answer.end]
    renamed = now != desk.named.names[answer.end] or answer.connector
    circuit = named.circuit_at(now) if answer.purpose or answer.designation else ""
    said = f"{answer.end} is {now}." if renamed else f"{now}: kept."
    if circuit:
        said += f" Its net is for {circuit}."
    return _says(
        replace(desk, named=named, chosen=answer.end, asked=None),
        " ".join(filter(None, (said, named.told, *doubts(desk.named, answer)))),
        text="",
    )


def _undone(desk: Desk) -> Desk:
    answers = desk.named.answers
    if not answers:
        return _says(desk, "There is no answer that could be taken back.", bad=True)
    last = answers[-1]
    named = answered(desk.named.traced, answers[:-1])
    desk = replace(desk, named=named)
    net = desk.net if last.end in desk.net else _net_of(desk, last.end)
    desk = replace(desk, net=net, chosen=last.end, picked=True, felt=desk.felt and last.end in desk.net)
    now = named.names[last.end]
    again = "has no name again" if last.end in named.nameless else f"is {now} as before"
    return _says(desk, f"Taken back: {last.end} {again}.")


def _net_of(desk: Desk, end: End) -> tuple[End, ...]:
    named = desk.named
    net = named.net_of[named.names[end]]
    return tuple(each for each in map(named.traced_of.get, net.cavities) if each is not None)


def _next_nameless(desk: Desk, by: int) -> Desk:
    bare = desk.named.nameless
    if not bare:
        return _says(desk, "Every end has a name.")
    if desk.text.strip():
        return _says(desk, "A line is begun: enter it, or clear it with Esc.", bad=True)
    order = list(desk.named.traced.cavities)
    at = order.index(desk.chosen) if desk.chosen is not None else -1
    following = [*order[at + 1 :], *order[: at + 1]] if by > 0 else [*order[:at][::-1], *order[at:][::-1]]
    end = next(each for each in following if each in set(bare))
    desk = replace(desk, chosen=end, picked=True, felt=False)
    return replace(desk, net=_net_of(desk, end), said="", refused=False)


def _other_end(desk: Desk, by: int) -> Desk:
    if desk.chosen is None or len(desk.net) < 2:
        return _says(desk, "There is no other end on this net.", bad=True)
    at = (desk.net.index(desk.chosen) + by) % len(desk.net)
    return replace(desk, chosen=desk.net[at], picked=True, said="", refused=False)


def _completed(desk: Desk) -> Desk:
    begun = desk.tabbed[0] if desk.tabbed else desk.text[: desk.cursor]
    found = desk.candidates
    if not found:
        return _says(
            desk, "Nothing that is known goes on like that." if begun else "Type a letter first.", bad=True
        )
    number = (desk.tabbed[1] + 1) % len(found) if desk.tabbed else 0
    line = found[number].line
    return replace(
        desk,
        text=line + desk.text[desk.cursor :],
        cursor=len(line),
        tabbed=(begun, number),
        said="",
        refused=False,
    )


# -- words -------------------------------------------------------------------------------------------


def _says(desk: Desk, said: str, *, bad: bool = False, text: str | None = None) -> Desk:
    desk = replace(desk, said=said, refused=bad)
    return desk if text is None else replace(desk, text=text, cursor=len(text))


def _told(error: InputError) -> str:
    stop = "" if error.message.endswith((".", "?", "!")) else "."
    return f"{error.message[0].upper()}{error.message[1:]}{stop} {error.cure}".strip()


def _few(desk: Desk, ends: Iterable[End], most: int = 4) -> str:
    names = [str(desk.named.names[end]) for end in ends]
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more
