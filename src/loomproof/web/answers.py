"""What a page is asked and what it answers, as values that know no server."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, TypeAlias

from loomproof.errors import UsageError
from loomproof.jobs.files import now
from loomproof.web.doors import Doors, Seat
from loomproof.web.memory import Memory
from loomproof.web.sent import Sent
from loomproof.web.session import How, Session
from loomproof.web.workplace import Workplace


@dataclass(frozen=True)
class House:
    """All that pages know: where work is done, the one session, who may come in, how things are asked for.

    ``address`` is this server's own, without a token; ``lan`` the one by which phones reach it, "" for none.
    ``now`` dates what is ticked.
    """

    workplace: Workplace
    session: Session
    doors: Doors
    address: str
    how: How = lambda _: ""
    lan: str = ""
    now: Callable[[], datetime] = now
    memory: Memory = field(default_factory=Memory)


@dataclass(frozen=True)
class Asked:
    """A request: its sender's seat, the names in its path, what a form (with files) or JSON brought."""

    seat: Seat = Seat.DRIVES
    names: Mapping[str, str] = field(default_factory=dict)
    form: Mapping[str, str] = field(default_factory=dict)
    query: Mapping[str, str] = field(default_factory=dict)
    json: object = None
    files: tuple[Sent, ...] = ()

    def field(self, name: str) -> str:
        """Return what a form has in a field, without blanks around it; "" for nothing."""
        return self.form.get(name, "").strip()

    def number(self, name: str) -> int:
        """Return a whole number from a form. Raises `UsageError`."""
        said = self.field(name)
        if not said.isascii() or not said.isdecimal() or len(said) > 9:
            raise UsageError(f"{name}: {said[:40]!r} is no number", cure="Give a whole number.")
        return int(said)


@dataclass(frozen=True)
class Page:
    """A page: its template, what stands in it, and the status of HTTP."""

    template: str
    values: Mapping[str, Any] = field(default_factory=dict)
    status: int = 200


@dataclass(frozen=True)
class Go:
    """Go on to another page."""

    to: str


@dataclass(frozen=True)
class Data:
    """A value for a script of ours, as JSON."""

    value: object
    status: int = 200


@dataclass(frozen=True)
class File:
    """A file, shown in the browser; ``name`` is what it is saved as."""

    content: bytes
    kind: str
    name: str


Answer: TypeAlias = Page | Go | Data | File
Handler: TypeAlias = Callable[[House, Asked], Answer]
