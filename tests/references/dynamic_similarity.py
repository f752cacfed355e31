"""Relative stride length and Froude number: printed examples and the laws that join them."""

from __future__ import annotations

from dataclasses import dataclass

from .source import Source

ALEXANDER_1976 = Source(
    citation="Alexander RMcN (1976) Estimates of speeds of dinosaurs. Nature 261:129-130",
    doi="10.1038/261129a0",
    where="formula v = 0.25 g^0.5 SL^1.67 h^-1.17, the inverse of SL/h = 2.3 Fr^0.3",
    reading="read in a secondary text",
)
ALEXANDER_JAYES_1983 = Source(
    citation="Alexander RMcN, Jayes AS (1983) A dynamic similarity hypothesis for the gaits of quadrupedal mammals. "
    "J Zool 201:135-152",
    doi="10.1111/j.1469-7998.1983.tb04266.x",
    where="SL/h = 2.4 Fr^0.34",
    reading="read in a secondary text",
)
MARTIN = Source(
    citation="Martin AJ, Dinosaurs Without Bones: stride 2.8 m, hip 1.4 m, relative stride 2.0, about 3 m/s or "
    "10.6 km/h",
    where="part 35 of an online copy",
    reading="read",
)
TRACKWAY_TABLE = Source(
    citation="Fossil trackway example of a published R package, computed there with g = 9.8 m/s²",
    where="package documentation, data set MountTom",
    reading="read in a secondary text",
)
BENTON = Source(
    citation="Worked trackway: stride 3.50 m, hip 2.40 m, 2.28 m/s, relative stride 1.46, Froude number 0.22",
    where="textbook box",
    reading="read in a secondary text",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RelativeStride:
    """Stride length (m), hip height (m), speed (m/s) and printed relative stride length; Froude number if printed."""

    stride_length: float
    hip_height: float
    speed: float
    relative: float
    source: Source
    froude: float | None = None


WORKED_EXAMPLES = (
    RelativeStride(stride_length=2.8, hip_height=1.4, speed=10.6 / 3.6, relative=2.0, source=MARTIN),
    RelativeStride(
        stride_length=3.50, hip_height=2.40, speed=2.28, relative=1.46, froude=0.22, source=BENTON
    ),
    *(
        RelativeStride(
            stride_length=relative * hip,
            hip_height=hip,
            speed=speed,
            relative=relative,
            source=TRACKWAY_TABLE,
        )
        for relative, hip, speed in (
            (1.553054, 1.380, 1.917671),
            (1.444507, 1.380, 1.699122),
            (1.305107, 1.404, 1.446657),
            (1.815427, 1.320, 2.434079),
            (1.410104, 1.736, 1.830533),
            (1.680626, 1.364, 2.175188),
            (1.243837, 1.848, 1.531647),
            (1.293046, 0.760, 1.0479855),
        )
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerLaw:
    """Relative stride length as ``factor × Froude ** exponent``."""

    factor: float
    exponent: float
    source: Source


LAW_1976 = PowerLaw(factor=2.3, exponent=0.3, source=ALEXANDER_1976)
LAW_1983 = PowerLaw(factor=2.4, exponent=0.34, source=ALEXANDER_JAYES_1983)

COW_HIP_HEIGHT = 1.35
"""Assumed for the cows of the group means (m); not published with them."""
