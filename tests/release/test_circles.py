"""No two modules need each other: imports inside a room go one way too, those for types and those made late included."""

import grimp
import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components


def test_no_modules_import_each_other_in_a_circle() -> None:
    graph = grimp.build_graph("canalwright", exclude_type_checking_imports=False, cache_dir=None)
    modules = sorted(graph.modules)
    number = {name: i for i, name in enumerate(modules)}
    packages = {name for name in modules if graph.find_children(name)}
    pairs = [
        (number[one], number[other])
        for one in modules
        for other in graph.find_modules_directly_imported_by(one)
        if other
        not in packages  # a room's door names all of it; who imports the door is the import contract's business
    ]
    ends = np.array(pairs).T
    _, part = connected_components(
        coo_array((np.ones(len(pairs)), ends), shape=(len(modules),) * 2), connection="strong"
    )
    circles = [[m for m, p in zip(modules, part, strict=True) if p == k] for k in np.flatnonzero(np.bincount(part) > 1)]
    assert not circles, "these import each other in a circle; move what both need into a module below them"
