"""The four limbs, named by the animal's own left and right."""

from __future__ import annotations

from typing import Final, Literal, get_args

Limb = Literal["left_fore", "right_fore", "left_hind", "right_hind"]
Side = Literal["left", "right"]
Pair = Literal["fore", "hind"]

LIMBS: Final[tuple[Limb, ...]] = get_args(Limb)
SIDES: Final[tuple[Side, ...]] = get_args(Side)
PAIRS: Final[tuple[Pair, ...]] = get_args(Pair)


def side_of(limb: Limb) -> Side:
    """The animal's side the limb is on.

    >>> side_of("right_hind")
    'right'
    """
    return "left" if limb.startswith("left") else "right"


def pair_of(limb: Limb) -> Pair:
    """``fore`` or ``hind``."""
    return "fore" if limb.endswith("fore") else "hind"


def limb_at(side: Side, pair: Pair) -> Limb:
    """The limb of that side and pair.

    >>> limb_at("left", "hind")
    'left_hind'
    """
    limb: dict[tuple[Side, Pair], Limb] = {(side_of(one), pair_of(one)): one for one in LIMBS}
    return limb[side, pair]


def opposite_of(limb: Limb) -> Limb:
    """The other limb of the same pair.

    >>> opposite_of("left_fore")
    'right_fore'
    """
    return limb_at("right" if side_of(limb) == "left" else "left", pair_of(limb))
