"""The screen of a loom that is named, open while its job runs."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from loomproof.jobs.events import Event, Shown
from loomproof.screens.full_screen import FullScreen
from loomproof.screens.naming_screen import frame
from loomproof.screens.printing import line
from loomproof.screens.progress import Screen

if TYPE_CHECKING:
    from loomproof.jobs.naming import NamedLoom
    from loomproof.jobs.running import Running
    from loomproof.screens.notes import How


def named_on_screen(job: Callable[[FullScreen], Running[NamedLoom]], how: How) -> NamedLoom:
    """Run the job that takes its keys from this screen; say in the end what was typed and not entered."""
    progress, screen = Screen(how), FullScreen()
    last: list[Shown] = []

    def show(event: Event) -> None:
        if isinstance(event, Shown):
            progress.clear()
            rings = bool(last) and event.touches > last[-1].touches
            last[:] = [event]
            screen.show(lambda width, height: frame(event, width, height), bell=rings)
        else:
            progress.show(event)

    try:
        with screen:
            return job(screen).run(show)
    finally:
        if last and last[-1].text.strip():
            line(f"Typed and not entered, so not kept: {last[-1].text}", err=True)
