"""What the page of a job sees of it besides progress and cavities, and what may be said to it meanwhile."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from loomproof.errors import UsageError
from loomproof.jobs.events import Event

if TYPE_CHECKING:
    from loomproof.web.session import Ending


@dataclass(frozen=True)
class Seen:
    """What an event changes on a page: values by name, and ``items`` of which there can be many, by key.

    An item that is ``None`` is gone. ``waits`` says for what the job waits now, and how far it is: so many of
    so many.
    """

    values: Mapping[str, Any] = field(default_factory=dict)
    items: Mapping[str, Any] = field(default_factory=dict)
    waits: tuple[str, int, int] | None = None


NOTHING = Seen()


class Sight:
    """The sight of a job that has no page of its own; those that have one inherit from it."""

    page = "/prove"
    """Where the job is looked at."""

    def begun(self) -> Seen:
        """Return what stands there before the first event."""
        return NOTHING

    def see(self, event: Event) -> Seen:
        """Return what an event changes; called in the job's thread."""
        del event
        return NOTHING

    def hear(self, said: Mapping[str, object]) -> Seen:
        """Take what was said on the page, and return what that changes there. Raises `UsageError`."""
        del said
        raise UsageError("this job takes no orders", cure="Load the page again.")

    def stopped(self) -> Ending | None:
        """Return what is told where a person's Stop is an end like another; ``None`` where it's a failure."""
        return None

    def left(self) -> Ending | None:
        """Return what is to be told of a job that did not come to its end."""
        return None
