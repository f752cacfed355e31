"""What the overreach says, with its probability, its reasons and its doubts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from .limbs import Side

StrideClass = Literal["short_strided", "fills_the_print", "overstepping", "undecided"]
NamedClass = Literal["short_strided", "fills_the_print", "overstepping"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SideVerdict:
    """One side judged alone."""

    stride_class: StrideClass
    probability: Mapping[NamedClass, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The verdict of one walk.

    Parameters
    ----------
    stride_class : StrideClass
        Of the mean overreach of the walk.
    probability : mapping
        Of each named class; sums to 1. Empty where nothing could be judged.
    sides : mapping
        Each side alone: a one-sided shortfall is never averaged away.
    reasons : tuple of str
        Plain sentences that led to the class.
    cautions : tuple of str
        Plain sentences of doubt or warning.
    linked_build : str or None
        The build such a stride goes with: a pointer, never a finding.
    other_causes : tuple of str
        Other causes of the same stride, named whenever the class is not ``fills_the_print``.
    to_settle : str or None
        For ``undecided``: how many more strides, or what better scale, would settle it.
    """

    stride_class: StrideClass
    probability: Mapping[NamedClass, float]
    sides: Mapping[Side, SideVerdict]
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]
    linked_build: str | None
    other_causes: tuple[str, ...]
    to_settle: str | None
