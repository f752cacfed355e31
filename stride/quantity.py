"""A measured number with its doubt, or the reason there is none."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

# Standard normal quantiles at (1 + coverage) / 2.
_FACTORS: Final = {0.68: 0.9945, 0.90: 1.6449, 0.95: 1.9600, 0.99: 2.5758}


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A number with what is known of its error.

    Parameters
    ----------
    value : float
        In ``unit``.
    unit : str
        ``"m"``, ``"s"``, ``"m/s"``, ``"1/min"``, ``"rad"``, ``"stride"`` (lengths in units of the mean
        stride length, where the clip has no scale), ``"stride/s"`` or ``"1"``.
    random : float
        Standard uncertainty of measuring that more strides would average out (same unit).
    common : float
        Standard uncertainty shared by everything in the clip, such as the ground scale; it never averages out.
    spread : float or None
        Standard deviation of the animal's own variation from stride to stride, measuring error removed;
        None where there is only one value.
    n : int
        How many single values (strides, steps, overreaches) the number comes from.

    Examples
    --------
    >>> m = Measured(value=-0.081, unit="m", random=0.003, common=0.004, spread=0.012, n=4)
    >>> round(m.total, 4)
    0.005
    """

    value: float
    unit: str
    random: float
    common: float
    spread: float | None = None
    n: int = 1

    def __post_init__(self) -> None:
        numbers = [self.value, self.random, self.common, *([] if self.spread is None else [self.spread])]
        if not all(math.isfinite(x) for x in numbers):
            raise ValueError(
                f"a measured number must be finite, got {numbers}; return Unmeasured with a reason"
            )
        if min(self.random, self.common) < 0 or (self.spread is not None and self.spread < 0):
            raise ValueError(
                f"an uncertainty cannot be negative, got {numbers[1:]}; pass a standard deviation"
            )

    @property
    def total(self) -> float:
        """Standard uncertainty of measuring, random and common together (same unit)."""
        return math.hypot(self.random, self.common)

    def interval(self, coverage: float = 0.95) -> tuple[float, float]:
        """Interval that holds the true value of *this walk* with the stated probability.

        Parameters
        ----------
        coverage : float
            0.68, 0.90, 0.95 or 0.99.

        Returns
        -------
        (float, float)
            Lower and upper end (``unit``).

        Raises
        ------
        ValueError
            For any other coverage.

        Examples
        --------
        >>> m = Measured(value=1.50, unit="m", random=0.003, common=0.004)
        >>> [round(end, 4) for end in m.interval(0.95)]
        [1.4902, 1.5098]
        """
        if coverage not in _FACTORS:
            raise ValueError(
                f"no interval is kept for a coverage of {coverage}; use one of "
                + ", ".join(f"{one:.2f}" for one in _FACTORS)
            )
        half = _FACTORS[coverage] * self.total
        return self.value - half, self.value + half


@dataclass(frozen=True, slots=True, kw_only=True)
class Unmeasured:
    """Why a number is absent; falsy, so that ``if measure:`` asks whether there is one.

    Examples
    --------
    >>> bool(Unmeasured(reason="hip height was not given"))
    False
    """

    reason: str

    def __bool__(self) -> bool:
        return False


Quantity = Measured | Unmeasured
