"""No module imports, by whatever way, what imports it."""

from __future__ import annotations

import grimp
import networkx


def test_there_is_no_import_cycle() -> None:
    graph = grimp.build_graph("loomproof", exclude_type_checking_imports=True, cache_dir=None)
    arrows = networkx.DiGraph(
        (module, other)
        for module in graph.modules
        for other in graph.find_modules_directly_imported_by(module)
    )
    assert [sorted(found) for found in networkx.strongly_connected_components(arrows) if len(found) > 1] == []
