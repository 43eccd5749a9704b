"""Small changes to Python source: which there are in a file, and the file with one of them made."""

from __future__ import annotations

import ast
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


@dataclass(frozen=True, slots=True)
class Mutation:
    """One change: the ``index``-th place of the file where one can be made, on ``line``."""

    index: int
    line: int
    text: str


def mutations_of(source: str) -> list[Mutation]:
    """Return every change that can be made to this source, in the order of the text."""
    return [Mutation(index, line, text) for index, (line, text, _) in enumerate(_places(ast.parse(source)))]


def with_mutation(source: str, mutation: Mutation) -> str:
    """Return the source with one change made; comments and layout are lost, what it does is not."""
    tree = ast.parse(source)
    for index, (_, _, change) in enumerate(_places(tree)):
        if index == mutation.index:
            change()
            return ast.unparse(ast.fix_missing_locations(tree))
    raise ValueError(f"there is no change {mutation.index} in this source")


Place = tuple[int, str, Callable[[], None]]


def _places(tree: ast.Module) -> Iterator[Place]:
    """Yield line, words and the change itself of every place; annotations, messages and imports are left."""
    for node in _visited(tree):
        yield from _changes(node)


def _visited(node: ast.AST) -> Iterator[ast.AST]:
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "type_params"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if not isinstance(child, ast.AST) or isinstance(child, ast.Raise | ast.JoinedStr | ast.Assert):
                continue
            if isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING":
                continue
            yield child
            yield from _visited(child)


def _changes(node: ast.AST) -> Iterator[Place]:
    line = getattr(node, "lineno", 0)

    def place(text: str, target: ast.AST, field: str, value: object) -> Place:
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
        yield place(f"{node.value} to {not node.value}", node, "value", not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        more = node.value + 1 if isinstance(node.value, int) else node.value * 1.5 or 1.0
        yield place(f"{node.value!r} to {more!r}", node, "value", more)
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in NAMES:
        name = ast.Name(NAMES[node.func.id], ast.Load())
        yield place(f"{ast.unparse(node)}: to {name.id}", node, "func", name)
    elif isinstance(node, ast.If | ast.While | ast.IfExp):
        yield place(f"{ast.unparse(node.test)}: turned", node, "test", ast.UnaryOp(ast.Not(), node.test))
    elif isinstance(node, ast.Continue):
        yield line, "continue left out", lambda: _empty(node)
    elif isinstance(node, ast.AugAssign) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)):
        yield line, f"{ast.unparse(node)}: left out", lambda: _empty(node)


def _empty(node: ast.stmt) -> None:
    """Turn a statement into one that does nothing, in its place."""
    line, column = node.lineno, node.col_offset
    node.__class__ = ast.Expr
    node.__dict__.clear()
    node.__dict__.update(value=ast.Constant(None), lineno=line, col_offset=column)


def _word(op: ast.AST) -> str:
    return type(op).__name__
