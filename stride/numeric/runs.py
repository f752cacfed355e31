"""Steady runs of a path that now rests and now moves on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def find_steady_runs(
    t: Array,
    xy: Array,
    variance: Array,
    *,
    speed: float,
    ahead: Array,
    mean_rest: float = 0.8,
    mean_move: float = 0.4,
) -> list[tuple[int, int]]:
    """Runs in which a path rests, by the most likely sequence of resting and moving.

    A two-state hidden Markov model over irregular time steps, decoded by the Viterbi algorithm (Forney 1973,
    Proc IEEE 61:268–278, doi 10.1109/PROC.1973.9030). At rest a step is only measuring error; on the move it goes
    ahead at two to four times the mean speed, since a foot that rests half the time and more must hurry between.

    Parameters
    ----------
    t : (K,) float array
        Times (s).
    xy : (K, 2) float array
        The path.
    variance : (K,) float array
        Measuring variance per axis of each place.
    speed : float
        Mean speed of the whole path (units of ``xy`` per s); above zero.
    ahead : (2,) float array
        Unit vector along which the path goes.
    mean_rest, mean_move : float
        Typical length of a rest and of a move (s).

    Returns
    -------
    list of (int, int)
        First and last index of each resting run, in order.

    Examples
    --------
    >>> t = np.arange(0, 2, 0.1)
    >>> x = np.interp(t, [0, 0.5, 0.9, 2], [0, 0, 1, 1])
    >>> find_steady_runs(t, np.column_stack([x, 0 * x]), np.full(20, 1e-4), speed=0.5, ahead=np.array([1.0, 0.0]))
    [(0, 5), (9, 19)]
    """
    step = np.diff(t)
    shift = np.diff(xy, axis=0)
    noise = variance[1:] + variance[:-1]
    along = shift @ ahead
    across = shift @ np.array([-ahead[1], ahead[0]])
    distance2 = (shift**2).sum(axis=1)
    rest = -distance2 / (2 * noise) - np.log(noise)
    rest = np.logaddexp(rest, np.log(1e-4) - np.log(noise + (speed * step) ** 2))
    along_var = noise + (1.5 * speed * step) ** 2
    across_var = noise + (1.0 * speed * step) ** 2
    move = -((along - 2.8 * speed * step) ** 2) / (2 * along_var) - across**2 / (2 * across_var)
    move -= 0.5 * np.log(along_var) + 0.5 * np.log(across_var)
    emission = np.column_stack([rest, move])
    leave = np.log(np.clip(1 - np.exp(-step / mean_rest), 1e-6, 0.5))
    land = np.log(np.clip(1 - np.exp(-step / mean_move), 1e-6, 0.5))
    state = _viterbi(emission, leave, land)
    return _runs_of_zero(state)


def _viterbi(emission: Array, leave: Array, land: Array) -> NDArray[np.intp]:
    """Most likely state (0 rest, 1 move) of each step."""
    count = len(emission)
    back = np.zeros((count, 2), dtype=np.intp)
    best = emission[0] + np.log([0.66, 0.34])
    for k in range(1, count):
        stay_rest, stay_move = np.log1p(-np.exp(leave[k])), np.log1p(-np.exp(land[k]))
        options = np.array(
            [[best[0] + stay_rest, best[1] + land[k]], [best[0] + leave[k], best[1] + stay_move]]
        )
        back[k] = options.argmax(axis=1)
        best = options.max(axis=1) + emission[k]
    state = np.zeros(count, dtype=np.intp)
    state[-1] = int(best.argmax())
    for k in range(count - 1, 0, -1):
        state[k - 1] = back[k, state[k]]
    return state


def _runs_of_zero(state: NDArray[np.intp]) -> list[tuple[int, int]]:
    """Runs of resting steps, as first and last place."""
    edge = np.diff(np.concatenate([[1], state, [1]]))
    starts, ends = np.flatnonzero(edge == -1), np.flatnonzero(edge == 1)
    return [(int(a), int(b)) for a, b in zip(starts, ends, strict=True)]
