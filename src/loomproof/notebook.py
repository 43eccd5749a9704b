"""Values that a notebook shows as a page. What the page says is told from above: a value does not know."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

T = TypeVar("T")

_PAGES: dict[type, Callable[[Any], str]] = {}


class Shown:
    """A value that has a page, once somebody has said how it is drawn; as text until then."""

    __slots__ = ()

    def _repr_html_(self) -> str | None:
        draw = _PAGES.get(type(self))
        return None if draw is None else draw(self)


def page(kind: type[T]) -> Callable[[Callable[[T], str]], Callable[[T], str]]:
    """Say how values of a kind are drawn: HTML that needs nothing from elsewhere, every text escaped."""

    def drawn_by(draw: Callable[[T], str]) -> Callable[[T], str]:
        _PAGES[kind] = draw
        return draw

    return drawn_by
