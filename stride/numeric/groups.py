"""Things joined by links fall into groups."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

Indices = NDArray[np.intp]


def group_linked(count: int, first: Indices, second: Indices) -> list[Indices]:
    """Groups of things that are linked, directly or through others.

    Parameters
    ----------
    count : int
        How many things there are.
    first, second : (L,) int arrays
        The two ends of each link.

    Returns
    -------
    list of int arrays
        The members of each group, rising; things without any link are left out.

    Examples
    --------
    >>> [one.tolist() for one in group_linked(6, np.array([0, 4]), np.array([2, 2]))]
    [[0, 2, 4]]
    """
    links = coo_matrix((np.ones(len(first), dtype=bool), (first, second)), shape=(count, count))
    _, label = connected_components(links, directed=False)
    linked = np.unique(np.concatenate([first, second]))
    order = linked[np.argsort(label[linked], kind="stable")]
    return [np.asarray(one) for one in np.split(order, np.flatnonzero(np.diff(label[order])) + 1) if len(one)]
