"""Four points and where a plane-to-plane map takes them: worked inputs of others, and the exact answer."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction as F

from .source import Source

Pair = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """Four points, their images, and what follows from them.

    ``matrix`` is the map with its last entry 1, where it was worked out by hand in fractions; ``check`` is a fifth
    point with its image. Both are derived from the inputs that were read.
    """

    name: str
    points: tuple[Pair, ...]
    images: tuple[Pair, ...]
    check: tuple[Pair, Pair]
    decimals: int
    source: Source
    matrix: tuple[tuple[float, ...], ...] | None = None


EXAMPLES = (
    Example(
        name="stretched and shifted square",
        points=((0, 0), (0, 1), (1, 1), (1, 0)),
        images=((1, 1), (1, 3), (2, 3), (2, 1)),
        matrix=((1, 0, 1), (0, 2, 1), (0, 0, 1)),
        check=((0.0, 0.0), (1.0, 1.0)),
        decimals=12,
        source=Source(
            citation="Documentation of a published package for plane-to-plane maps",
            where="the four pairs, printed with the check (0, 0) to (1, 1)",
            reading="read",
        ),
    ),
    Example(
        name="square seen askew",
        points=((2, 2), (2, 4), (4, 4), (4, 2)),
        images=((2, 2), (2.5, 4), (3.5, 3.5), (4, 2)),
        matrix=(
            (float(F(-13, 6)), float(F(-5, 3)), 6),
            (float(F(-2, 3)), float(F(-19, 6)), 6),
            (float(F(-1, 3)), float(F(-7, 12)), 1),
        ),
        check=((3.0, 3.0), (float(F(22, 7)), float(F(22, 7)))),
        decimals=12,
        source=Source(
            citation="julienr, ipynb_playground, misc_math/homography_2d",
            where="the four pairs; the map and the image of the centre follow from them",
            reading="derived",
        ),
    ),
    Example(
        name="trapezium of a picture drawn as a square",
        points=((92, 398), (711, 398), (601, 93), (188, 90)),
        images=((10, 710), (710, 710), (710, 10), (10, 10)),
        check=((396.0, 334.0), (352.653, 605.222)),
        decimals=3,
        source=Source(
            citation="messa, published note 3c7b437a92a40aa645cf",
            where="the four pairs; the image of the fifth point follows from them",
            reading="derived",
        ),
    ),
)
