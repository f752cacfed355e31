"""How probable each stride class is, and what would make it certain enough to name."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from scipy.special import ndtri, stdtr, stdtrit

from ..quantity import Measured, Quantity
from .limbs import SIDES, Side
from .settings import Settings
from .verdict import NamedClass, SideVerdict, StrideClass

#: More strides than anyone films of one animal in one day.
MOST_STRIDES: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """What a walk tells of the mean overreach the animal usually has.

    Parameters
    ----------
    mean : float
        In the unit of the overreach.
    random, common : float
        Standard errors of measuring it.
    spread : float
        Standard deviation of the animal's own variation from stride to stride, part assumed and part seen.
    weight : float
        ``spread² × weight`` is the variance of the mean by that variation: one over the number of strides,
        where all count alike.
    n : int
        Strides.
    freedom : float
        Degrees of freedom of ``spread``.
    """

    mean: float
    random: float
    common: float
    spread: float
    weight: float
    n: int
    freedom: float

    def with_more(self, strides: int) -> Belief:
        """The same mean after so many more strides like these."""
        grown = (self.n + strides) / self.n
        return replace(
            self,
            random=self.random / math.sqrt(grown),
            weight=self.weight / grown,
            n=self.n + strides,
            freedom=self.freedom + strides,
        )

    @property
    def error(self) -> float:
        """Full standard error of the mean: measuring and the animal's own variation."""
        return math.sqrt(self.random**2 + self.common**2 + self.spread**2 * self.weight)

    @property
    def effective_freedom(self) -> float:
        """Degrees of freedom of the full error (Welch-Satterthwaite): only the spread is estimated.

        Welch BL (1947) Biometrika 34:28-35, doi 10.1093/biomet/34.1-2.28.
        """
        estimated = self.spread**2 * self.weight
        return self.freedom * (self.error**2 / estimated) ** 2

    def interval(self, coverage: float = 0.95) -> tuple[float, float]:
        """Interval that holds the animal's usual mean overreach with that probability."""
        half = float(stdtrit(self.effective_freedom, 0.5 + coverage / 2)) * self.error
        return self.mean - half, self.mean + half


def band_of(unit: str, settings: Settings) -> float:
    """Half-width of the band that counts as filling the print, in that unit."""
    return settings.band if unit == "m" else settings.band_share


def form_beliefs(measures: Mapping[str, Quantity], settings: Settings) -> Mapping[Side | None, Belief]:
    """Beliefs about the mean of the walk (key None) and each measured side.

    The spread is pooled over both sides with an assumed one, ``s² = (w s0² + f s1²) / (w + f)``: ``s0``
    assumed with weight ``w``, ``s1`` seen with ``f`` degrees of freedom. One stride alone therefore never
    looks certain.

    Parameters
    ----------
    measures : mapping
        With ``overreach``, ``overreach_left`` and ``overreach_right``.
    settings : Settings

    Returns
    -------
    mapping
        Empty where no overreach was measured.
    """
    whole = measures["overreach"]
    seen: dict[Side, Measured] = {}
    for side in SIDES:
        measured = measures[f"overreach_{side}"]
        if isinstance(measured, Measured):
            seen[side] = measured
    if not isinstance(whole, Measured) or not seen:
        return {}
    assumed = settings.assumed_spread if whole.unit == "m" else settings.assumed_spread_share
    freedom = whole.n - len(seen)
    total = settings.assumed_spread_weight + freedom
    variance = settings.assumed_spread_weight * assumed**2 + freedom * (whole.spread or 0.0) ** 2
    spread = math.sqrt(variance / total)

    def believe(measured: Measured, weight: float) -> Belief:
        return Belief(
            mean=measured.value,
            random=measured.random,
            common=measured.common,
            spread=spread,
            weight=weight,
            n=measured.n,
            freedom=total,
        )

    beliefs: dict[Side | None, Belief] = {
        None: believe(whole, math.fsum(1 / one.n for one in seen.values()) / len(seen) ** 2)
    }
    return beliefs | {side: believe(one, 1 / one.n) for side, one in seen.items()}


def weigh_classes(belief: Belief, band: float) -> Mapping[NamedClass, float]:
    """Probability of each class; they sum to 1.

    Examples
    --------
    >>> belief = Belief(mean=-0.08, random=0.004, common=0.003, spread=0.02, weight=1 / 6, n=6, freedom=7)
    >>> {name: round(p, 2) for name, p in weigh_classes(belief, 0.06).items()}
    {'short_strided': 0.97, 'fills_the_print': 0.03, 'overstepping': 0.0}
    """
    freedom = belief.effective_freedom
    short = float(stdtr(freedom, (-band - belief.mean) / belief.error))
    past = float(stdtr(freedom, (belief.mean - band) / belief.error))
    return {
        "short_strided": short,
        "fills_the_print": max(1.0 - short - past, 0.0),
        "overstepping": past,
    }


def name_class(probability: Mapping[NamedClass, float], settings: Settings) -> StrideClass:
    """The class that is probable enough to be named, or ``undecided``."""
    best = max(probability, key=lambda name: probability[name])
    return best if probability[best] >= settings.min_probability else "undecided"


def judge_side(belief: Belief, band: float, settings: Settings) -> SideVerdict:
    """One side judged alone."""
    probability = weigh_classes(belief, band)
    return SideVerdict(stride_class=name_class(probability, settings), probability=probability)


def strides_to_settle(belief: Belief, band: float, settings: Settings) -> int | None:
    """How many more strides would name a class if the mean stayed; None where :data:`MOST_STRIDES` would
    not."""
    for more in range(1, MOST_STRIDES + 1):
        if name_class(weigh_classes(belief.with_more(more), band), settings) != "undecided":
            return more
    return None


def common_error_to_settle(belief: Belief, band: float, settings: Settings) -> float:
    """Largest common standard error with which very many strides would name a class if the mean stayed."""
    distance = abs(abs(belief.mean) - band)
    return distance / float(ndtri(settings.min_probability))
