"""Average linkage of patterns that stand for many cases each, in the form of SciPy's linkage matrices."""

import numpy as np
from numpy.typing import NDArray

from rqa.arguments import Numbers


def linked(apart: Numbers, weight: Numbers) -> Numbers:
    """Merges with the mean distance between all cases of two clusters: the tree that the repeated cases would give.

    Chains of nearest neighbours, which lead to the same tree as always merging the nearest two.
    """
    n = len(weight)
    between = apart.copy()
    np.fill_diagonal(between, np.inf)
    size = weight.astype(np.float64).copy()
    merges: list[tuple[int, int, float]] = []
    chain: list[int] = []
    alive = np.ones(n, dtype=np.bool_)
    for _ in range(n - 1):
        if not chain:
            chain.append(int(np.argmax(alive)))
        while True:
            last = chain[-1]
            near = int(np.argmin(between[last]))
            # On a tie the way back is taken, or the chain could run in circles.
            if len(chain) > 1 and between[last, chain[-2]] <= between[last, near]:
                near = chain[-2]
                break
            chain.append(near)
        last, near = chain.pop(), chain.pop()
        merges.append((last, near, float(between[last, near])))
        mean = (size[last] * between[last] + size[near] * between[near]) / (size[last] + size[near])
        size[last] += size[near]
        alive[near] = False
        between[last], between[:, last] = mean, mean
        between[near], between[:, near] = np.inf, np.inf
        between[last, last] = np.inf
    return _in_order(merges, n)


def cut(tree: Numbers, groups: int) -> NDArray[np.int64]:
    """Each pattern's group, from 0, at so many groups (fewer where merges are tied)."""
    from scipy.cluster import hierarchy  # a tenth of a second to import, so only when groups are asked for

    return hierarchy.fcluster(tree, groups, criterion="maxclust").astype(np.int64) - 1


def _in_order(merges: list[tuple[int, int, float]], n: int) -> Numbers:
    """Merges sorted by height, clusters numbered as SciPy numbers them."""
    tree = np.zeros((n - 1, 4))
    root, members = list(range(n)), [1] * n
    name = list(range(n))

    def top(i: int) -> int:
        while root[i] != i:
            root[i] = root[root[i]]
            i = root[i]
        return i

    height = 0.0
    for k, m in enumerate(np.argsort([m[2] for m in merges], kind="stable")):
        one, two, far = merges[m]
        a, b = top(one), top(two)
        height = max(height, far)
        tree[k] = min(name[a], name[b]), max(name[a], name[b]), height, members[a] + members[b]
        root[b] = a
        members[a] += members[b]
        name[a] = n + k
    return tree
