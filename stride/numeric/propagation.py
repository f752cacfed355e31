"""First-order propagation of errors: numbers that carry their derivative by every source of error.

A measure is written as plain arithmetic on :class:`Linear` numbers. Its gradient comes out beside its value,
and :class:`ErrorModel` turns the gradient into two standard errors: what more strides would average out, and
what they would not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Linear:
    """A number and its derivative by each of P sources of error.

    Sums, differences, products and quotients with other such numbers and with plain ones keep the gradient.

    Parameters
    ----------
    value : float
    gradient : (P,) float array
        Derivative of ``value`` by each source.

    Examples
    --------
    >>> import numpy as np
    >>> length = Linear(value=1.4, gradient=np.array([1.0, 0.0]))
    >>> time = Linear(value=1.25, gradient=np.array([0.0, 1.0]))
    >>> speed = length / time
    >>> float(round(speed.value, 3)), speed.gradient.round(3).tolist()
    (1.12, [0.8, -0.896])
    """

    value: float
    gradient: Array

    # numpy scalars hand arithmetic with a Linear over to the methods below
    __array_ufunc__ = None

    def __add__(self, other: Linear | float) -> Linear:
        if isinstance(other, Linear):
            return Linear(value=self.value + other.value, gradient=self.gradient + other.gradient)
        return Linear(value=self.value + other, gradient=self.gradient)

    __radd__ = __add__

    def __neg__(self) -> Linear:
        return Linear(value=-self.value, gradient=-self.gradient)

    def __sub__(self, other: Linear | float) -> Linear:
        return self + (-other)

    def __rsub__(self, other: float) -> Linear:
        return -self + other

    def __mul__(self, other: Linear | float) -> Linear:
        if isinstance(other, Linear):
            gradient = self.gradient * other.value + other.gradient * self.value
            return Linear(value=self.value * other.value, gradient=gradient)
        return Linear(value=self.value * other, gradient=self.gradient * other)

    __rmul__ = __mul__

    def __truediv__(self, other: Linear | float) -> Linear:
        if isinstance(other, Linear):
            quotient = self.value / other.value
            gradient = (self.gradient - other.gradient * quotient) / other.value
            return Linear(value=quotient, gradient=gradient)
        return Linear(value=self.value / other, gradient=self.gradient / other)

    def __rtruediv__(self, other: float) -> Linear:
        quotient = other / self.value
        return Linear(value=quotient, gradient=self.gradient * (-quotient / self.value))


def sum_of(parts: Sequence[Linear]) -> Linear:
    """Sum of one or more numbers."""
    return Linear(
        value=math.fsum(part.value for part in parts),
        gradient=np.sum([part.gradient for part in parts], axis=0),
    )


def mean_of(parts: Sequence[Linear]) -> Linear:
    """Arithmetic mean of one or more numbers."""
    return sum_of(parts) / len(parts)


def direction_of(angle: Linear) -> tuple[Linear, Linear]:
    """Cosine and sine of an angle (rad)."""
    cosine, sine = math.cos(angle.value), math.sin(angle.value)
    return (
        Linear(value=cosine, gradient=-sine * angle.gradient),
        Linear(value=sine, gradient=cosine * angle.gradient),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ErrorModel:
    """Covariance of P sources of error, in two parts.

    Parameters
    ----------
    random : (P, P) float array
        Of the errors that differ from print to print and event to event.
    common : (P, P) float array
        Of the errors that everything in the clip, or everything of one limb, shares.
    """

    random: Array
    common: Array

    def __post_init__(self) -> None:
        if self.random.shape != self.common.shape or self.random.ndim != 2:
            raise ValueError(
                f"an error model needs two square arrays of one shape, got {self.random.shape} and "
                f"{self.common.shape}; order both by the same sources"
            )

    def standard_errors(self, number: Linear) -> tuple[float, float]:
        """Random and common standard error of a number, in its unit."""
        gradient = number.gradient
        return (
            math.sqrt(max(float(gradient @ self.random @ gradient), 0.0)),
            math.sqrt(max(float(gradient @ self.common @ gradient), 0.0)),
        )

    def covariance(self, numbers: Sequence[Linear]) -> Array:
        """(n, n) covariance of the errors of n numbers, random and common together."""
        jacobian = np.stack([number.gradient for number in numbers])
        return np.asarray(jacobian @ (self.random + self.common) @ jacobian.T)


def estimate_spread(groups: Sequence[Sequence[Linear]], errors: ErrorModel) -> float | None:
    """Standard deviation between single values, with the part that is only measuring error removed.

    The sum of squares about each group's mean is expected to be ``(n - 1) s² + tr(C Σ)``, where Σ is the
    covariance of the measuring errors and C removes the mean; solving for ``s²`` and pooling over groups
    gives an unbiased estimate, which is then held at zero or above.

    Parameters
    ----------
    groups : sequence of sequences of Linear
        Single values; only differences within a group count.
    errors : ErrorModel

    Returns
    -------
    float or None
        In the unit of the values; None where no group holds two values.
    """
    freedom = sum(max(len(group) - 1, 0) for group in groups)
    if freedom == 0:
        return None
    excess = 0.0
    for group in groups:
        if len(group) < 2:
            continue
        values = np.array([number.value for number in group])
        covariance = errors.covariance(group)
        expected = float(np.trace(covariance) - covariance.sum() / len(group))
        excess += float(np.sum((values - values.mean()) ** 2)) - expected
    return math.sqrt(max(excess, 0.0) / freedom)


def symmetric_root(covariance: Array) -> Array:
    """Symmetric square root of a covariance, which varies smoothly with it and may be singular.

    Parameters
    ----------
    covariance : (n, n) float array
        Symmetric; eigenvalues below zero by rounding count as zero.

    Returns
    -------
    (n, n) float array
        ``R`` with ``R @ R = covariance``.
    """
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)
