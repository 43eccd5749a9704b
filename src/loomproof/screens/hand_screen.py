"""What a person with a meter sees: where the probes go, in large letters, and one key for each answer."""

from __future__ import annotations

import math
import shutil
import string
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING

import click

from loomproof.jobs.hand_questions import HandAsked, HandKind, HandReply, Wish
from loomproof.jobs.plan_by_hand import by_plug
from loomproof.loom.model import End
from loomproof.screens.big_text import big
from loomproof.screens.speech import Voice

if TYPE_CHECKING:
    from collections.abc import Mapping

LETTERS = string.ascii_lowercase
"""What names an end on the screen: cavities have numbers of their own."""

_PROBING = (
    "Lay the tip on the edge or face of the contact. Never force it into a socket: that spreads it, and "
    "makes the fault that you look for. From behind, a thin probe beside the wire reaches the contact: "
    "pierce no insulation, and push the seal back after. Dirt and oxide do not beep: scratch, touch again."
)
_ASKED: Mapping[HandKind, str] = {
    HandKind.WHOLE: "One net: it should beep at each.",
    HandKind.APART: "Other nets: it should be silent at each.",
    HandKind.CHAIN: "Other nets. Touch red to the first. Silent: put a clip of the black lead on it as well, "
    "and touch the next. Where it beeps put no clip, and go on.",
    HandKind.AGAIN: "That was not expected. Scratch both contacts, and touch this pair again. A wrong key "
    "before is taken back with u.",
    HandKind.FOLLOW: "It beeped against these joined. At which of them does it beep now, one by one?",
    HandKind.OHMS: "Meter on ohms. What does it show?",
    HandKind.DIODE: "Meter on diode test, red is plus. How many volts does it show?",
    HandKind.ZERO: "Meter on ohms. Touch the probes together: what does it show?",
    HandKind.TRY: "Meter on beep. Touch the probes together: does it beep, and is it silent apart?",
}
_KEYS: Mapping[HandKind, Mapping[str, str]] = {
    HandKind.WHOLE: {"b": "beeps at all", "n": "silent at some"},
    HandKind.APART: {"n": "silent at all", "b": "beeps at some"},
    HandKind.CHAIN: {"n": "silent at all", "b": "beeps at some"},
    HandKind.FOLLOW: {"b": "beeps at some", "n": "silent at all"},
    HandKind.AGAIN: {"b": "beeps", "n": "silent"},
    HandKind.TRY: {"y": "yes", "n": "no"},
}


class HandScreen:
    """Asks a person at a terminal; ``key`` and ``line`` read from it, ``show`` writes a line.

    A key that was pressed before the question stood there should not count (`click.getchar` drops it).
    """

    def __init__(
        self,
        key: Callable[[], str] = click.getchar,
        line: Callable[[], str] = input,
        show: Callable[[str], None] = lambda text: click.echo(text, err=True),
        voice: Voice | None = None,
        width: Callable[[], int] = lambda: shutil.get_terminal_size().columns,
    ) -> None:
        self._key, self._line, self._show, self._width = key, line, show, width
        self._voice = voice or Voice()
        self._clipped: tuple[End, ...] = ()

    def ask(self, asked: HandAsked) -> HandReply:
        """Ask until there is an answer."""
        self._lay_out(asked)
        self._voice.say(spoken(asked))
        try:
            while True:
                reply = self._by_key(asked) if asked.kind in _KEYS else self._typed(asked)
                if reply is not None:
                    self._clips(asked, reply)
                    return reply
        except EOFError:
            return HandReply(Wish.STOP)
        finally:
            self._voice.hush()

    def _clips(self, asked: HandAsked, reply: HandReply) -> None:
        """Remember where clips are now, to have them taken off."""
        if asked.black and reply.wish is None:
            silent = tuple(end for end in asked.red if end not in reply.beeped)
            clipped = asked.black + (silent if asked.kind is HandKind.CHAIN else ())
            self._clipped = clipped if len(clipped) > 1 else ()

    # -- what stands there -----------------------------------------------------------------------

    def _lay_out(self, asked: HandAsked) -> None:
        width = max(self._width() - 1, 20)
        self._show("\r\x1b[K")
        head = f" touch {asked.touches} of about {asked.of} " if asked.of else " "
        self._show(head.center(width, "-"))
        if off := [end for end in self._clipped if end not in asked.black]:
            self._told(f"Take the clips off {by_plug(off)}.")
        if asked.black:
            for line in self._ends("BLACK", asked.black, asked, width, lettered=False):
                self._show(line)
        if asked.red:
            for line in self._ends("RED", asked.red, asked, width, lettered=_lettered(asked)):
                self._show(line)
        part = f"{asked.part}: " if asked.part else ""
        self._told(part + _said_of(asked))
        self._told(self._keys(asked))

    def _ends(
        self, probe: str, ends: Sequence[End], asked: HandAsked, width: int, *, lettered: bool
    ) -> Iterator[str]:
        def named(end: End) -> str:
            return " ".join(filter(None, (str(end), asked.colours.get(end, ""))))

        if len(ends) == 1:
            yield f"{probe} on {named(ends[0])}"
            yield from big(str(ends[0]), width, _ink())
        else:
            yield from _folded(
                f"{probe} {'over' if probe == 'RED' else 'clipped on'} {len(ends)}: {by_plug(ends)}", width
            )
        if not lettered:
            return
        items = [f"{letter} {named(end)}" for letter, end in zip(LETTERS, ends, strict=False)]
        across = max(1, width // (max(map(len, items)) + 3))
        wide = width // across
        for k in range(0, len(items), across):
            yield "".join(item.ljust(wide) for item in items[k : k + across]).rstrip()

    def _keys(self, asked: HandAsked) -> str:
        keys = dict(_KEYS.get(asked.kind, {}) if _lettered(asked) or not asked.red else _ONE)
        if asked.kind in _FIGURES:
            keys = {"figure, Enter": "what it shows", "o, Enter": "open"}
        if asked.may_leave_out:
            keys["l"] = "leave out"
        if asked.touches:
            keys["u"] = "back one"
        keys |= {"q": "stop till later", "?": "how to probe"}
        if self._voice.there:
            keys["v"] = "voice off" if self._voice.on else "voice on"
        return "   ".join(f"[{key}] {what}".replace(" ", "\xa0") for key, what in keys.items())

    def _told(self, text: str) -> None:
        for line in _folded(text, max(self._width() - 1, 20)):
            self._show(line)

    # -- what is answered ------------------------------------------------------------------------

    def _by_key(self, asked: HandAsked) -> HandReply | None:
        key = self._key().lower()
        if (wish := self._wish(key, asked)) is not None:
            return wish if wish.wish is not None else None
        if key not in _KEYS[asked.kind]:
            self._unknown(key, asked)
            return None
        if asked.kind is HandKind.TRY:
            if key == "y":
                return HandReply(figure=1.0)
            self._told("Then put it on beep, plug its leads in and try a fresh battery; then touch again.")
            return None
        usual = "b" if asked.kind is HandKind.WHOLE else "n"
        if key == usual or not _lettered(asked):
            return self._said(asked, asked.red if key == "b" else ())
        where = "silent" if key == "n" else "beeping"
        chosen = self._chosen(asked, where)
        if chosen is None:
            self._told(self._keys(asked))
            return None
        beeped = chosen if key == "b" else tuple(end for end in asked.red if end not in chosen)
        return self._said(asked, beeped)

    def _chosen(self, asked: HandAsked, where: str) -> tuple[End, ...] | None:
        self._told(f"Letters of the {where} ones, then Enter (Enter alone: not so):")
        letters = [letter for letter in self._line().lower() if not letter.isspace() and letter != ","]
        known = dict(zip(LETTERS, asked.red, strict=False))
        if wrong := [letter for letter in letters if letter not in known]:
            self._told(f"There is no {wrong[0]} here.")
            return None
        return tuple(end for letter, end in known.items() if letter in letters) or None

    def _typed(self, asked: HandAsked) -> HandReply | None:
        said = self._line().strip().lower()
        if (wish := self._wish(said, asked)) is not None:
            return wish if wish.wish is not None else None
        if said in ("o", "open", "ol", "inf"):
            self._told("  open")
            return HandReply(figure=math.inf)
        try:
            figure = _figure(said)
        except ValueError:
            self._unknown(said, asked)
            return None
        self._told(f"  {figure:g} {'V' if asked.kind is HandKind.DIODE else 'ohm'}")
        return HandReply(figure=figure)

    def _wish(self, key: str, asked: HandAsked) -> HandReply | None:
        """Return a wish; a reply without one where the key was for the screen alone."""
        if key in ("\x03", "\x04", "q"):
            return HandReply(Wish.STOP)
        if key == "u":
            self._told("  back to the question before")
            return HandReply(Wish.BACK)
        if key == "l" and asked.may_leave_out:
            self._told("  left out: the certificate names these as never swept")
            return HandReply(Wish.LEAVE_OUT)
        if key == "?":
            self._told(_PROBING)
            return HandReply()
        if key == "v" and self._voice.there:
            self._voice.on = not self._voice.on
            self._voice.say(spoken(asked))
            return HandReply()
        return None

    def _unknown(self, said: str, asked: HandAsked) -> None:
        if said.strip():
            self._told(f"{said!r} is no answer here. {self._keys(asked)}")

    def _said(self, asked: HandAsked, beeped: tuple[End, ...]) -> HandReply:
        told = (
            "silent"
            if not beeped
            else "beeps"
            if set(beeped) == set(asked.red)
            else f"beeps at {by_plug(beeped)}"
        )
        self._told(f"  {told}")
        return HandReply(beeped=beeped)


_ONE = {"b": "beeps", "n": "silent"}
_FIGURES = (HandKind.OHMS, HandKind.DIODE, HandKind.ZERO)


def _lettered(asked: HandAsked) -> bool:
    """Whether there are several ends under red, of which some may beep."""
    return len(asked.red) > 1


def _said_of(asked: HandAsked) -> str:
    if not _lettered(asked) and asked.kind in (HandKind.WHOLE, HandKind.APART):
        return (
            "One net: it should beep." if asked.kind is HandKind.WHOLE else "Two nets: it should be silent."
        )
    return _ASKED[asked.kind]


def spoken(asked: HandAsked) -> str:
    """Return a question as it is said aloud."""
    black = f"Black on {by_plug(asked.black)}. " if asked.black else ""
    red = f"Red on {by_plug(asked.red)}. " if asked.red else ""
    short = {HandKind.WHOLE: "Should beep.", HandKind.APART: "Should be silent.", HandKind.CHAIN: "Chain."}
    return f"{black}{red}{short.get(asked.kind, _ASKED[asked.kind])}"


def _figure(said: str) -> float:
    """Read a figure as it stands on a meter: 0.4, 0,4, 4.7k, 1.2M. Raises `ValueError`."""
    times = {"k": 1e3, "m": 1e6}.get(said[-1:], 1.0)
    figure = float(said.rstrip("km").replace(",", ".")) * times
    if not 0.0 <= figure <= 1e9:
        raise ValueError(said)
    return figure


def _folded(text: str, width: int) -> list[str]:
    """Fold between words; a hard space, as within a key and what it does, is none."""
    folded = textwrap.wrap(text, width, break_long_words=False, break_on_hyphens=False) or [""]
    return [line.replace("\xa0", " ") for line in folded]


def _ink() -> str:
    encoding = (sys.stderr.encoding or "").lower().replace("-", "")
    return "█" if encoding == "utf8" else "#"
