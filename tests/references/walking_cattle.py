"""Published means of walking dairy cows: stride length, stride time, speed, three-foot support and overlap."""

from __future__ import annotations

from dataclasses import dataclass

from .source import Source

FLOWER_2005 = Source(
    citation="Flower FC, Sanderson DJ, Weary DM (2005) Hoof pathologies influence kinematic measures of dairy cow "
    "gait. J Dairy Sci 88:3166-3173",
    doi="10.3168/jds.S0022-0302(05)73000-9",
    where="abstract",
    reading="read abstract",
)
FLOWER_2006 = Source(
    citation="Flower FC, Sanderson DJ, Weary DM (2006) Effects of milking on dairy cow gait. J Dairy Sci 89:2084-2089",
    where="abstract",
    reading="read abstract",
)
FLOWER_2007 = Source(
    citation="Flower FC, de Passillé AM, Weary DM, Sanderson DJ, Rushen J (2007) Softer, higher-friction flooring "
    "improves gait of cows with and without sole ulcers. J Dairy Sci 90:1235",
    where="abstract",
    reading="read abstract",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupMean:
    """One group's means (m, s, m/s); each printed rounded, and speed as a mean of its own."""

    group: str
    source: Source
    stride_length: float
    stride_time: float
    speed: float


GROUP_MEANS = (
    GroupMean(group="no injury", source=FLOWER_2005, stride_length=1.395, stride_time=1.26, speed=1.11),
    GroupMean(group="sole ulcer", source=FLOWER_2005, stride_length=1.300, stride_time=1.48, speed=0.90),
    GroupMean(group="before milking", source=FLOWER_2006, stride_length=1.233, stride_time=1.49, speed=0.85),
    GroupMean(group="after milking", source=FLOWER_2006, stride_length=1.335, stride_time=1.41, speed=0.97),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportMean:
    """Stride and swing time (s) and the share of the stride with three feet down.

    The swing times are of the cows without ulcers (26 of 32), the shares of all: good to a few per cent only.
    """

    group: str
    source: Source
    stride_time: float
    swing_time: float
    three_feet: float


SUPPORT_MEANS = (
    SupportMean(
        group="before milking", source=FLOWER_2006, stride_time=1.49, swing_time=0.45, three_feet=0.800
    ),
    SupportMean(
        group="after milking", source=FLOWER_2006, stride_time=1.41, swing_time=0.44, three_feet=0.717
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class OverlapMean:
    """Stride overlap (m, past the fore print positive) and stride length (m) of cows with sole ulcers."""

    floor: str
    source: Source
    overlap: float
    stride_length: float


OVERLAP_MEANS = (
    OverlapMean(floor="rubber", source=FLOWER_2007, overlap=0.004, stride_length=1.569),
    OverlapMean(floor="concrete", source=FLOWER_2007, overlap=-0.043, stride_length=1.496),
)
