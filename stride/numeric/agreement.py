"""How well two measurements agree, and whether stated doubts are honest."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv, ndtri, stdtrit


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Bias and limits of agreement of two methods, in the unit of the measurements.

    Parameters
    ----------
    n : int
        Pairs.
    bias, sd : float
        Mean and standard deviation of the differences.
    bias_interval : (float, float)
        95 % confidence interval of the bias.
    limits : (float, float)
        ``bias ± multiple × sd``.
    limit_error : float
        Standard error of either limit, ``sqrt(3 / n) × sd``.
    multiple : float
    """

    n: int
    bias: float
    sd: float
    bias_interval: tuple[float, float]
    limits: tuple[float, float]
    limit_error: float
    multiple: float


def measure_agreement(first: ArrayLike, second: ArrayLike, multiple: float = 1.96) -> Agreement:
    """Limits of agreement between two methods that measured the same things.

    Parameters
    ----------
    first, second : (n,) array_like
        One value each of the same n things; differences are ``first - second``.
    multiple : float
        Of the standard deviation. The 1986 paper printed 2; 1.96 is usual now.

    Raises
    ------
    ValueError
        Fewer than two pairs, unequal lengths or values that are not finite.

    References
    ----------
    Bland JM, Altman DG (1986) Lancet 327:307-310, doi 10.1016/S0140-6736(86)90837-8.

    Examples
    --------
    >>> agreement = measure_agreement([10.0, 12.0, 11.0], [9.0, 12.5, 10.0])
    >>> round(agreement.bias, 2), [round(limit, 2) for limit in agreement.limits]
    (0.5, [-1.2, 2.2])
    """
    one, other = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if one.shape != other.shape or one.ndim != 1 or len(one) < 2 or not np.isfinite([one, other]).all():
        raise ValueError(
            f"agreement needs two finite lists of one length of at least 2, got shapes {one.shape} and "
            f"{other.shape}; "
            "leave out what only one method measured"
        )
    difference = one - other
    n = len(difference)
    bias, sd = float(difference.mean()), float(difference.std(ddof=1))
    half = float(stdtrit(n - 1, 0.975)) * sd / math.sqrt(n)
    return Agreement(
        n=n,
        bias=bias,
        sd=sd,
        bias_interval=(bias - half, bias + half),
        limits=(bias - multiple * sd, bias + multiple * sd),
        limit_error=math.sqrt(3 / n) * sd,
        multiple=multiple,
    )


def within_subject_sd(values: ArrayLike) -> float:
    """Standard deviation of repeated measurements of one subject, pooled over subjects.

    Parameters
    ----------
    values : (subjects, repeats) array_like
        At least two repeats of at least one subject.

    Raises
    ------
    ValueError
        Another shape, or values that are not finite.

    References
    ----------
    Bland JM, Altman DG (1996) BMJ 313:744, doi 10.1136/bmj.313.7059.744.
    """
    table = np.asarray(values, dtype=float)
    if table.ndim != 2 or table.shape[0] < 1 or table.shape[1] < 2 or not np.isfinite(table).all():
        raise ValueError(
            f"repeats need a finite table of subjects by two or more repeats, got shape {table.shape}; "
            "give one row for each subject"
        )
    return math.sqrt(float(table.var(axis=1, ddof=1).mean()))


def repeatability(values: ArrayLike, multiple: float = 1.96) -> float:
    """The difference that two measurements of one subject exceed only one time in twenty.

    ``multiple × √2 ×`` :func:`within_subject_sd`; a difference below it is no evidence of a change.
    """
    return multiple * math.sqrt(2) * within_subject_sd(values)


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How often stated intervals held the truth.

    ``interval`` is the exact 95 % binomial confidence interval of ``share``.
    """

    held: int
    n: int
    share: float
    interval: tuple[float, float]


def measure_coverage(value: ArrayLike, truth: ArrayLike, error: ArrayLike, level: float = 0.95) -> Coverage:
    """Share of intervals ``value ± z × error`` that hold the truth.

    Parameters
    ----------
    value, truth, error : (n,) array_like
        Measured value, true value and stated standard error of n measurements.
    level : float
        Nominal coverage, which sets z of the normal distribution.

    Raises
    ------
    ValueError
        No measurement, unequal lengths, or values that are not finite.

    References
    ----------
    Clopper CJ, Pearson ES (1934) Biometrika 26:404-413, doi 10.1093/biomet/26.4.404.

    Examples
    --------
    >>> measure_coverage([1.0, 2.0, 3.0], [1.1, 2.0, 9.0], [0.1, 0.1, 0.1]).held
    2
    """
    columns = [np.asarray(column, dtype=float) for column in (value, truth, error)]
    shapes = {column.shape for column in columns}
    if len(shapes) != 1 or columns[0].ndim != 1 or not len(columns[0]) or not np.isfinite(columns).all():
        raise ValueError(
            f"coverage needs three finite lists of one length of at least 1, got shapes {sorted(shapes)}; "
            "leave out what was not measured"
        )
    measured, true, sd = columns
    held = int(np.sum(np.abs(measured - true) <= ndtri(0.5 + level / 2) * sd))
    n = len(true)
    low = float(betaincinv(held, n - held + 1, 0.025)) if held > 0 else 0.0
    high = float(betaincinv(held + 1, n - held, 0.975)) if held < n else 1.0
    return Coverage(held=held, n=n, share=held / n, interval=(low, high))


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorSummary:
    """Errors against the truth, in their unit: mean, median size, and the size that 95 % stay within."""

    n: int
    bias: float
    median_size: float
    size_95: float


def summarise_errors(errors: ArrayLike) -> ErrorSummary:
    """Summarise measured minus true.

    Parameters
    ----------
    errors : (n,) array_like

    Raises
    ------
    ValueError
        No error, or values that are not finite.
    """
    values = np.asarray(errors, dtype=float)
    if values.ndim != 1 or not len(values) or not np.isfinite(values).all():
        raise ValueError(
            f"a summary needs a finite list of at least 1 error, got shape {values.shape}; "
            "leave out what was not measured"
        )
    sizes = np.abs(values)
    return ErrorSummary(
        n=len(values),
        bias=float(values.mean()),
        median_size=float(np.median(sizes)),
        size_95=float(np.quantile(sizes, 0.95)),
    )
