"""What is decided by kind names every kind: a new one fails in the type checker, and is never passed over."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import loomproof

SOURCE = Path(loomproof.__file__).parent


def matches() -> Iterator[tuple[str, ast.Match]]:
    for file in sorted(SOURCE.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Match):
                yield f"{file.relative_to(SOURCE)}:{node.lineno}", node


def closes(match: ast.Match) -> bool:
    """Whether its last case takes whatever is left and refuses it.

    `assert_never` has the type checker show that nothing is left; a match of words that people write raises.
    """
    last = match.cases[-1]
    takes_all = isinstance(last.pattern, ast.MatchAs) and last.pattern.pattern is None and last.guard is None
    done = last.body[-1]
    never = isinstance(done, ast.Expr) and isinstance(done.value, ast.Call)
    return takes_all and (isinstance(done, ast.Raise) or (never and "assert_never" in ast.unparse(done)))


def test_every_match_ends_in_what_it_does_not_know() -> None:
    places = dict(matches())
    assert len(places) > 20
    assert [place for place, match in places.items() if not closes(match)] == []
