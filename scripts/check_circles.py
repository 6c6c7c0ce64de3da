"""Fails where modules import each other in a circle, also inside functions or for types only."""

from __future__ import annotations

import sys

import grimp
import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components


def circles(package: str) -> list[list[str]]:
    """Every set of modules of a package from each of which all others of the set are imported."""
    graph = grimp.build_graph(package)
    modules = sorted(graph.modules)
    place = {name: n for n, name in enumerate(modules)}
    pairs = [
        (place[name], place[other]) for name in modules for other in graph.find_modules_directly_imported_by(name)
    ]
    rows, columns = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
    matrix = csr_array((np.ones(rows.size), (rows, columns)), shape=(len(modules), len(modules)))
    count, labels = connected_components(matrix, directed=True, connection="strong")
    found = [[modules[n] for n in np.flatnonzero(labels == label).tolist()] for label in range(count)]
    return [names for names in found if len(names) > 1]


def main() -> int:
    """Print every circle; whether there is any."""
    found = circles("linkwright")
    for names in found:
        print("A circle of imports:", ", ".join(names))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
