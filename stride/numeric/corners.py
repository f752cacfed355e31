"""When a path comes to rest, or leaves it, between two observations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """Time of the corner (s) and its standard error."""

    t: float
    error: float


def find_corner(
    t: Array, xy: Array, variance: Array, *, between: tuple[float, float], kind: Literal["landing", "leaving"]
) -> Corner:
    """The time at which a path lands or leaves, by a broken curve with a free break.

    On the resting side of the break the path is a point. On the moving side it is a curve with its own speed and
    acceleration for a landing; for a leaving it starts from rest, with its own acceleration and growth of
    acceleration. Everything but the break is solved by least squares for each of a fine grid of breaks; the break's
    mean and standard error come from the likelihood over that grid.

    Parameters
    ----------
    t : (K,) float array
        Times (s); at least six.
    xy : (K, 2) float array
    variance : (K,) float array
        Per axis.
    between : (float, float)
        The break lies here (s).
    kind : {"landing", "leaving"}

    Examples
    --------
    >>> t = np.arange(0, 0.3, 1 / 60)
    >>> x = np.minimum(t - 0.142, 0.0) * 2.0
    >>> corner = find_corner(t, np.column_stack([x, 0 * x]), np.full(18, 1e-6), between=(0.1, 0.2), kind="landing")
    >>> round(corner.t, 3)
    0.142
    """
    grid = np.linspace(*between, 121)
    away = t[None, :] - grid[:, None]
    away = np.minimum(away, 0.0) if kind == "landing" else np.maximum(away, 0.0)
    powers = (away, away**2) if kind == "landing" else (away**2, away**3)
    scale = [np.abs(p).max() + 1e-12 for p in powers]
    design = np.stack([np.ones_like(away), powers[0] / scale[0], powers[1] / scale[1]], axis=-1)
    weight = 1.0 / variance
    normal = np.einsum("gki,k,gkj->gij", design, weight, design) + 1e-9 * weight.sum() * np.eye(3)
    pull = np.einsum("gki,k,kc->gic", design, weight, xy)
    solved = np.linalg.solve(normal, pull)
    miss = xy[None] - design @ solved
    chi2 = np.einsum("gkc,k->g", miss**2, weight)
    freedom = max(2 * len(t) - 7, 1)
    inflate = max(1.0, float(chi2.min()) / freedom)
    likelihood = np.exp(-0.5 * (chi2 - chi2.min()) / inflate)
    likelihood /= likelihood.sum()
    mean = float(likelihood @ grid)
    cell = (grid[1] - grid[0]) / np.sqrt(12)
    error = float(np.sqrt(likelihood @ (grid - mean) ** 2 + cell**2))
    return Corner(t=mean, error=error)
