"""Names that stay one person's and one place's: what a file calls twice gets a number, and is said."""

from __future__ import annotations


class Names:
    """Gives each thing a name of its own: the wanted one, or the wanted one with ``#2``, ``#3``, …"""

    def __init__(self) -> None:
        self._taken: set[str] = set()
        self.renamed: list[str] = []

    def __contains__(self, name: str) -> bool:
        return name in self._taken

    def give(self, wanted: str) -> str:
        """Return the wanted name or the next free one, and keep it."""
        name, number = wanted, 1
        while name in self._taken:
            number += 1
            name = f"{wanted}#{number}"
        if name != wanted:
            self.renamed.append(name)
        self._taken.add(name)
        return name


FIRST = 3
"""So many names stand in a message that is kept short."""
