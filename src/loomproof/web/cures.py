"""How a page is asked for what an error says that the program can do, where a page does it."""

from __future__ import annotations

from loomproof.errors import Do, Todo
from loomproof.web.session import How

ON_PAGES = {
    Todo.GO_ON: "The loom's own page goes on with it, under Hook-ups; Keep does once one was measured.",
    Todo.GO_ON_TRACE: "The page Trace goes on with it.",
    Todo.ANSWER: "Read it otherwise, below, takes {on}.",
    Todo.COLUMNS: "Read it otherwise, below, takes both.",
    Todo.DECIMAL: "Read it otherwise, below, takes {on} for decimals.",
    Todo.OVER: "The form has a tick that takes them.",
    Todo.ADAPTER: "Touch, Learn the adapter: there a table is made, to be picked here.",
    Todo.NEW_ADAPTER: "Pick another table, or have one made: Touch, Learn the adapter.",
    Todo.CHECK_ADAPTER: "Pick another table, or have one made: Touch, Learn the adapter.",
}
"""What does it on a page; ``{on}`` is what it is done to."""


def on_pages(how: How) -> How:
    """Return how a thing is asked for on a page; where no page does it, as ``how`` says."""

    def asked(do: Do | None) -> str:
        return ON_PAGES[do.what].replace("{on}", do.on) if do and do.what in ON_PAGES else how(do)

    return asked
