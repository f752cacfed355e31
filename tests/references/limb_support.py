"""How many feet are down at a walk: exact tables, and duty factors of a walking ruminant."""

from __future__ import annotations

from dataclasses import dataclass

from .source import Source

GRAZING_GAIT = Source(
    citation="Usherwood JR, Smith BJH (2018) on the grazing gait of quadrupeds: a duty factor of 0.75 with footfalls a "
    "quarter stride apart keeps exactly three feet on the floor at all times",
    where="figshare 6275360",
    reading="read",
)
GEOMETRY = Source(
    citation="Geometry of a symmetrical lateral-sequence walk with equal duty factors: the three-foot share is "
    "4 × duty - 2 while only two or three feet are ever down",
    where="computed by counting feet over the stride",
    reading="derived",
)
SHEEP = Source(
    citation="Kim J, Breur GJ (2008) Temporospatial and kinetic characteristics of sheep walking on a pressure sensing "
    "walkway. Can J Vet Res 72:50-55",
    where="pmc.ncbi.nlm.nih.gov/articles/PMC2117367",
    reading="read",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportRow:
    """Shares of the stride with exactly two, three and four feet down; ``phase`` is fore after same-side hind."""

    duty: float
    phase: float
    two: float
    three: float
    four: float
    source: Source


SUPPORT_TABLE = (
    SupportRow(duty=0.60, phase=0.25, two=0.60, three=0.40, four=0.0, source=GEOMETRY),
    SupportRow(duty=0.65, phase=0.25, two=0.40, three=0.60, four=0.0, source=GEOMETRY),
    SupportRow(duty=0.70, phase=0.25, two=0.20, three=0.80, four=0.0, source=GEOMETRY),
    SupportRow(duty=0.75, phase=0.25, two=0.0, three=1.0, four=0.0, source=GRAZING_GAIT),
    SupportRow(duty=0.75, phase=0.20, two=0.10, three=0.80, four=0.10, source=GEOMETRY),
    SupportRow(duty=0.80, phase=0.25, two=0.0, three=0.80, four=0.20, source=GEOMETRY),
)

SHEEP_DUTY = {"fore": 0.663, "hind": 0.689}
"""Stance as a share of the stride of 18 ewes at 1.06 m/s (Kim & Breur 2008)."""

SHEEP_THREE_FEET = 0.704
"""Derived from the mean duty factor 0.676: 4 × 0.676 - 2."""
