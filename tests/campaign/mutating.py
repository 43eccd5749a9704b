"""Small changes to Python source: which there are in a file, and the file with one of them made."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass

COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.FloorDiv: ast.Mult,
    ast.Pow: ast.Mult,
}
NAMES = {"min": "max", "max": "min", "any": "all", "all": "any"}
MOST_SHOWN = 70
"""So many characters of what stands around a constant are part of its change's text."""


@dataclass(frozen=True, slots=True)
class Mutation:
    """One change: the ``index``-th place of the file where one can be made.

    ``function`` is the qualified name of the function it stands in, empty outside of all; with ``text``,
    which is unlike any other of that function, it names the change whatever moves above it. ``first_line``
    to ``last_line`` is the statement, of a compound one its head.
    """

    index: int
    line: int
    first_line: int
    last_line: int
    function: str
    text: str


@dataclass(frozen=True, slots=True)
class _Around:
    """What a node stands in: the function, the innermost statement and the node itself above it."""

    scope: str
    function: str
    statement: ast.AST
    parent: ast.AST


def mutations_of(source: str) -> list[Mutation]:
    """Return every change that can be made to this source, in the order of the text."""
    seen: Counter[tuple[str, str]] = Counter()
    found = []
    for index, (line, text, _, around) in enumerate(_places(ast.parse(source))):
        seen[around.function, text] += 1
        number = seen[around.function, text]
        first, last = _extent(around.statement)
        name = text if number == 1 else f"{text} (number {number})"
        found.append(Mutation(index, line, first, last, around.function, name))
    return found


def mutated_tree(source: str, index: int) -> ast.Module:
    """Return the parsed source with its ``index``-th change made; lines stay where they are."""
    tree = ast.parse(source)
    for number, (_, _, change, _) in enumerate(_places(tree)):
        if number == index:
            change()
            return ast.fix_missing_locations(tree)
    raise ValueError(f"there is no change {index} in this source")


Place = tuple[int, str, Callable[[], None], _Around]


def _places(tree: ast.Module) -> Iterator[Place]:
    """Yield line, words and the change itself of every place; annotations, messages and imports are left."""
    for node, around in _visited(tree, _Around("", "", tree, tree)):
        for line, text, change in _changes(node, around.parent):
            yield line, text, change, around


def _visited(node: ast.AST, around: _Around) -> Iterator[tuple[ast.AST, _Around]]:
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "type_params"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if not isinstance(child, ast.AST) or isinstance(child, ast.Raise | ast.JoinedStr | ast.Assert):
                continue
            if isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING":
                continue
            if isinstance(child, ast.keyword) and child.arg == "strict":
                continue  # zip(strict=True) asserts, and assertions are left
            inside = name == "body" and isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
            here = _Around(
                scope=_scope(around.scope, child),
                function=around.scope if inside else around.function,
                statement=child if isinstance(child, ast.stmt) else around.statement,
                parent=node,
            )
            yield child, here
            yield from _visited(child, here)


def _scope(scope: str, node: ast.AST) -> str:
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
        return f"{scope}.{node.name}" if scope else node.name
    return scope


def _extent(statement: ast.AST) -> tuple[int, int]:
    """Return the lines of a statement, of one with a body those of its head."""
    first = getattr(statement, "lineno", 1)
    body = getattr(statement, "body", None)
    if isinstance(body, list) and body:
        return first, max(first, body[0].lineno - 1)
    return first, getattr(statement, "end_lineno", None) or first


def _changes(node: ast.AST, parent: ast.AST) -> Iterator[tuple[int, str, Callable[[], None]]]:
    line = getattr(node, "lineno", 0)

    def place(text: str, target: ast.AST, field: str, value: object) -> tuple[int, str, Callable[[], None]]:
        return line, text, lambda: setattr(target, field, value)

    if isinstance(node, ast.Compare):
        for k, op in enumerate(node.ops):
            other = COMPARISONS[type(op)]()
            ops = [*node.ops[:k], other, *node.ops[k + 1 :]]
            yield place(f"{ast.unparse(node)}: {_word(op)} to {_word(other)}", node, "ops", ops)
    elif isinstance(node, ast.BinOp) and type(node.op) in OPERATORS:
        if not any(isinstance(side, ast.JoinedStr) for side in (node.left, node.right)):
            swapped = OPERATORS[type(node.op)]()
            yield place(f"{ast.unparse(node)}: {_word(node.op)} to {_word(swapped)}", node, "op", swapped)
    elif isinstance(node, ast.BoolOp):
        turned = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield place(f"{ast.unparse(node)}: {_word(node.op)} to {_word(turned)}", node, "op", turned)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
        same: ast.unaryop = ast.UAdd()
        if isinstance(node.op, ast.Not):
            inner = ast.UnaryOp(ast.Not(), node.operand)
            yield place(f"{ast.unparse(node)}: not taken away", node, "operand", inner)
        else:
            yield place(f"{ast.unparse(node)}: minus taken away", node, "op", same)
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield place(f"{node.value} to {not node.value} in {_shown(parent)}", node, "value", not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        more = node.value + 1 if isinstance(node.value, int) else node.value * 1.5 or 1.0
        yield place(f"{node.value!r} to {more!r} in {_shown(parent)}", node, "value", more)
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in NAMES:
        name = ast.Name(NAMES[node.func.id], ast.Load())
        yield place(f"{ast.unparse(node)}: to {name.id}", node, "func", name)
    elif isinstance(node, ast.If | ast.While | ast.IfExp):
        if _turned_alone(node.test):
            return
        yield place(f"{ast.unparse(node.test)}: turned", node, "test", ast.UnaryOp(ast.Not(), node.test))
    elif isinstance(node, ast.Continue):
        yield line, "continue left out", lambda: _empty(node)
    elif isinstance(node, ast.AugAssign) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)):
        yield line, f"{ast.unparse(node)}: left out", lambda: _empty(node)


def _turned_alone(test: ast.expr) -> bool:
    """Whether the condition's own change turns it already, so that turning it is no second mutant."""
    if isinstance(test, ast.Compare) and len(test.ops) == 1:
        return isinstance(test.ops[0], ast.Eq | ast.NotEq | ast.Is | ast.IsNot | ast.In | ast.NotIn)
    return isinstance(test, ast.UnaryOp) and isinstance(test.op, ast.Not)


def _empty(node: ast.stmt) -> None:
    """Turn a statement into one that does nothing, in its place."""
    line, column = node.lineno, node.col_offset
    node.__class__ = ast.Expr
    node.__dict__.clear()
    node.__dict__.update(value=ast.Constant(None), lineno=line, col_offset=column)


def _shown(node: ast.AST) -> str:
    text = ast.unparse(node)
    return text if len(text) <= MOST_SHOWN else f"{text[: MOST_SHOWN - 1]}…"


def _word(op: ast.AST) -> str:
    return type(op).__name__
