"""No module imports what imports it, and a plain install brings all that is imported."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from importlib.metadata import packages_distributions, requires
from pathlib import Path

import grimp
import networkx

ROOT = Path(__file__).parents[1]


def test_there_is_no_import_cycle() -> None:
    graph = grimp.build_graph("loomproof", exclude_type_checking_imports=True, cache_dir=None)
    arrows = networkx.DiGraph(
        (module, other)
        for module in graph.modules
        for other in graph.find_modules_directly_imported_by(module)
    )
    assert [sorted(found) for found in networkx.strongly_connected_components(arrows) if len(found) > 1] == []


def name_of(wanted: str) -> str:
    return re.split(r"[^a-z0-9._-]", wanted.casefold())[0].replace("_", "-")


def test_a_plain_install_brings_all_that_is_imported() -> None:
    """Pictures and Parquet among it; a server's driver, the pages and the fleet are asked for by name."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    plain = {name_of(wanted) for wanted in project["dependencies"]}
    assert {"matplotlib", "pyarrow"} <= plain
    plain |= {name_of(more) for name in plain for more in requires(name) or () if "extra ==" not in more}
    assert set(project["optional-dependencies"]) == {"fleet", "postgresql", "spark", "web"}
    extra = {name_of(wanted) for wanted in project["optional-dependencies"]["web"]}
    brought = packages_distributions()
    for path in (ROOT / "src").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            named = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom) and not node.level:
                named = [node.module or ""]
            for top in {name.partition(".")[0] for name in named} - {*sys.stdlib_module_names, "loomproof"}:
                of = {name_of(name) for name in brought.get(top, ["psycopg"])}
                asked = extra if path.parent.name == "web" else set()
                assert of & (plain | {"psycopg"} | asked), f"{path.name} imports {top}"
