"""Writes docs/api.md from the public names and what they say of themselves.

Run as ``python -m tests.api.reference``.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from typing import Any

import loomproof as lp

MOST_PARAMETERS = 9
"""A value of more fields is made by the library, and not by who reads this page."""

PAGE = Path(__file__).parents[2] / "docs" / "api.md"

GROUPS = {
    "Looms": ("load", "check", "Loom", "End", "expect", "explain"),
    "Before plugging": ("plan", "plan_hookups", "Adapter"),
    "Benches": ("open_bench", "simulate"),
    "Jobs": ("Job", "Operator", "Unattended", "Proof"),
    "Results": ("Document", "Finding", "frames"),
    "Records": ("Store", "verify"),
    "In the car": ("fit",),
    "Errors": ("errors",),
}

HEAD = """# The library

Made from the code by `python -m tests.api.reference`; a test holds both together.

`import loomproof as lp` loads nothing that takes time: each name below is loaded when it is first used. The
library prints nothing and asks nobody: a job yields events, and what only a person can answer it asks its
operator. What goes wrong is raised as an error of `lp.errors`. Nothing is driven before the loom is cleared
for the bench. Values that a notebook can show have pages of their own (looms, explanations, plans, hook-ups,
proofs, documents, findings, fitting sheets).

```python
{example}```

The same is in `docs/examples/ten_lines.py`; `notebook.py` beside it goes from the description to the fitting
sheet, and `live_view.py` shows a proof while it runs.
"""

TAIL = """
## From other packages

A package brings a bench driver, or an importer of files that describe looms, by an entry point:

```toml
[project.entry-points."loomproof.benches"]
relaybox = "relaybox.loomproof:RelayBox"

[project.entry-points."loomproof.importers"]
wdx = "wiredrawing.loomproof:read"
```

`relaybox:PLACE?KEY=VALUE` is then the address of a bench, opened by the class, a `Bench` that is called with
the `OtherAddress` (`loomproof/bench/drivers.py`). Files called `….wdx` are then read by `lp.load` and by
`loomproof import`: the function is called with the path and returns a `Loom` (`loomproof/loom/importers.py`).
"""


def page() -> str:
    """Return the whole page."""
    parts = [HEAD.format(example=_example())]
    for title, names in GROUPS.items():
        parts.append(f"\n## {title}\n")
        parts += [_entry(name) for name in names]
    return "".join(parts) + TAIL


def _example() -> str:
    path = PAGE.parent / "examples" / "ten_lines.py"
    return path.read_text(encoding="utf-8").split("\n\n", 1)[1]


def _entry(name: str) -> str:
    value = getattr(lp, name)
    if not inspect.isclass(value) and not inspect.ismodule(value):
        return f"\n### `{name}{_signature(value)}`\n\n{_said(value)}"
    made = ""
    if inspect.ismodule(value):
        members = [(f"frames.{each}{_signature(one)}", one) for each, one in _functions(value)]
        members = members if name == "frames" else []
    else:
        members = list(_members(value))
        shown = name not in ("Document", "End", "Operator")
        if shown and len(inspect.signature(value).parameters) < MOST_PARAMETERS:
            made = _signature(value)
    listed = [f"- `{label}`: {_first(member)}\n" for label, member in members]
    return "".join([f"\n### `{name}{made}`\n\n", _said(value), *(["\n"] if listed else []), *listed])


def _functions(module: Any) -> Iterator[tuple[str, Any]]:
    for name, one in vars(module).items():
        if inspect.isfunction(one) and one.__module__ == module.__name__ and not name.startswith("_"):
            yield name, one


def _members(kind: type) -> Iterator[tuple[str, Any]]:
    ours = [each for each in kind.__mro__ if each.__module__.startswith("loomproof")]
    for name, member in {k: v for each in reversed(ours) for k, v in vars(each).items()}.items():
        if name.startswith("_"):
            continue
        if isinstance(member, property | cached_property):
            yield name, member
        elif isinstance(member, classmethod | staticmethod):
            yield f"{kind.__name__}.{name}{_signature(getattr(kind, name))}", member
        elif inspect.isfunction(member):
            yield f"{name}{_signature(member, bound=True)}", member


class _Said:
    """An annotation as it is written."""

    def __init__(self, text: object) -> None:
        self.text = str(text)

    def __repr__(self) -> str:
        return self.text


def _signature(value: Any, *, bound: bool = False) -> str:
    told = inspect.signature(value)
    given = [
        each.replace(annotation=_Said(each.annotation))
        for each in list(told.parameters.values())[int(bound) :]
    ]
    back = told.return_annotation
    said = inspect.Signature.empty if back in (inspect.Signature.empty, "None", None) else _Said(back)
    # What a dataclass makes anew for each value has no text of its own.
    return str(told.replace(parameters=given, return_annotation=said)).replace("<factory>", "…")


def _doc(value: Any) -> str:
    return inspect.getdoc(getattr(value, "func", value)) or ""


def _said(value: Any) -> str:
    """Return what a name says of itself, without its examples."""
    parts = [part for part in _doc(value).split("\n\n") if not part.startswith(">>>")]
    return _links("\n\n".join(parts)) + "\n"


def _first(value: Any) -> str:
    """Return the first paragraph of what a member says of itself, on one line."""
    return _links(" ".join(_doc(value).split("\n\n")[0].split()))


def _links(text: str) -> str:
    return re.sub(r"``([^`]+)``", r"`\1`", text)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
