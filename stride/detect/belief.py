"""How far a found stance, and a found walk, can be believed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .landings import Stir
from .refine import FittedGait
from .refusals import mean_fit
from .toes import Toe

Array = NDArray[np.float64]

# Weights of a logistic regression on rendered walks, whole and spoilt by noise, blur, low contrast and posts. Of a
# stance: constant, fit, likeness, log of the stir as it landed and as it left. Of a walk: constant, mean fit, oddity,
# how far it is borne out at other thresholds.
_STANCE: Final = np.array([-0.4, 1.2, 3.6, 1.7, 0.7])
_WALK: Final = np.array([-0.6, 2.8, -0.10, 2.15])
# A foot alone of its kind looks like no other; it is believed as one that looks fairly alike.
_ALONE: Final = 0.5
_LEAST_STIR: Final = 0.03


def believe_stances(toes: Sequence[Toe], stir: Stir) -> Array:
    """Probability that each stance of a right walk is right: the limb stood there, its toe tip within half a hoof.

    Parameters
    ----------
    toes : sequence of Toe
    stir : Stir

    Returns
    -------
    (N,) float array
    """
    if not toes:
        return np.empty(0)
    features = np.array(
        [
            [
                1.0,
                min(toe.footfall.fit, 1.0),
                _ALONE if toe.alone else toe.likeness,
                np.log(np.clip(landing, _LEAST_STIR, 1.0)),
                np.log(np.clip(leaving, _LEAST_STIR, 1.0)),
            ]
            for toe, landing, leaving in zip(toes, stir.landing, stir.leaving, strict=True)
        ]
    )
    return _logistic(features @ _STANCE)


def believe_walk(fitted: FittedGait, agreement: float) -> float:
    """Probability that the limbs of a found walk are named correctly.

    Parameters
    ----------
    fitted : FittedGait
    agreement : float
        Share of its stances that are found again at other thresholds.
    """
    features = np.array([1.0, min(mean_fit(fitted), 1.0), min(fitted.odd, 20.0), agreement])
    return float(_logistic(features @ _WALK))


def _logistic(z: Array) -> Array:
    return np.asarray(1.0 / (1.0 + np.exp(-z)), dtype=float)
