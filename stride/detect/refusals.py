"""What stands in the way of a measurement, in words."""

from __future__ import annotations

from collections.abc import Sequence

from ..errors import RefusedError
from .refine import LEAST_SEEN, FittedGait
from .toes import Toe

# A clip shorter than this holds no whole stride of a walking animal with a stance before and after it (s).
_SHORTEST_CLIP = 1.6
# Share of the frames in which the camera's motion must be known.
_LEAST_HELD = 0.4
# What walks past moves through at least this share of the picture's width.
_LEAST_TRAVEL = 0.25
# A walk explains its stances at least so well on average, and has at least so many.
_LEAST_MEAN_FIT, _LEAST_STANCES = 0.6, 6
# A second animal, even one that is only partly seen, explains what the first one leaves this well and this much.
_OTHER_MEAN_FIT, _OTHER_EXPLAINED = 0.65, 3.0
# Two walks nearer than this to one another are one animal (strides).
_SAME_ANIMAL = 0.75
# How much more a trot must explain than a walk.
_TROT_MARGIN = 2.5
# Delay of the answering hind foot, in stride times, below which a gait is no walk.
_LEAST_DELAY = 0.64

_FILM = (
    "Film one animal walking past, from the side, with the floor and all four hooves in view for two strides or "
    "more, or mark the hooves by hand."
)


def check_length(duration: float, held: float) -> None:
    """Refuse a clip too short, or one in which the camera was lost.

    Parameters
    ----------
    duration : float
        Of the clip (s).
    held : float
        Share of its frames in which the camera's motion is known.
    """
    if duration < _SHORTEST_CLIP:
        raise RefusedError(
            f"The clip is {duration:.1f} s long; one whole stride with a stance before and after it takes about 2 s.",
            "Film the whole walk-by, or mark the hooves by hand.",
        )
    if held < _LEAST_HELD:
        raise RefusedError(
            f"The camera's motion could be followed in {100 * held:.0f} % of the frames only; hooves are found where "
            "the floor is held still.",
            "Rest the phone on something, or turn it slowly, with plenty of plain floor in view.",
        )


def check_motion(travel: float) -> None:
    """Refuse a clip in which nothing can have walked past.

    Parameters
    ----------
    travel : float
        How far what moves has travelled, in picture widths.
    """
    if travel == 0.0:
        raise RefusedError("Nothing moves in this clip; an animal walking past was needed.", _FILM)
    if travel < _LEAST_TRAVEL:
        raise RefusedError(
            "What moves in this clip stays in its place: no animal walks past; it stands, or there is none.",
            _FILM,
        )


def is_walk(fitted: FittedGait | None) -> bool:
    """Whether a fitted gait is a walk that the strip bears out."""
    if fitted is None or fitted.score <= 0:
        return False
    delay = (fitted.gait.time_shift[2:] - fitted.gait.time_shift[:2]) / fitted.gait.stride_time
    return mean_fit(fitted) >= _LEAST_MEAN_FIT and float(delay.mean()) >= _LEAST_DELAY


def mean_fit(fitted: FittedGait) -> float:
    """Mean fit of the stances in view, those that are missing too."""
    fits = [one.fit for one in fitted.footfalls if one.seen > LEAST_SEEN]
    return sum(fits) / len(fits) if fits else 0.0


def refuse_no_walk(trot: FittedGait | None, walk: FittedGait | None) -> RefusedError:
    """Why no walk was found.

    Parameters
    ----------
    trot, walk : FittedGait or None
        The best trot and the best walk among feet that stand shortly: the short stances of a trot fit into those of a
        walk, so a trot must explain clearly more.
    """
    more = 0.0 if trot is None else trot.score - max(0.0, walk.score if walk else 0.0)
    if trot is not None and mean_fit(trot) >= _LEAST_MEAN_FIT and more > _TROT_MARGIN:
        return RefusedError(
            "The animal trots: its diagonal feet land together, and overreach is read at a walk.",
            "Film it again at a calm walk.",
        )
    return RefusedError(
        "Something passes, but no walking hooves were seen to stand on the floor: they may be hidden by grass, straw "
        "or a fence, out of the picture, too like the floor, or not at a steady walk.",
        _FILM,
    )


def check_alone(fitted: FittedGait, other: FittedGait | None) -> None:
    """Refuse two animals that walk through the picture.

    Parameters
    ----------
    fitted : FittedGait
    other : FittedGait or None
        The best walk in what the first one leaves of the strip. One that goes with it at the same place is only its
        fetlocks and shadows.
    """
    if other is None or not is_walk(other):
        return
    t = 0.5 * sum(_middle_time(one) for one in (fitted, other))
    apart = abs(fitted.gait.way_at(t) - other.gait.way_at(t)) / fitted.gait.stride_px
    together = fitted.gait.heading == other.gait.heading and apart < _SAME_ANIMAL
    if not together and mean_fit(other) >= _OTHER_MEAN_FIT and other.explained >= _OTHER_EXPLAINED:
        raise RefusedError(
            "Two animals walk through the picture, and it cannot be told which one is to be measured.",
            "Film one animal at a time, cut the clip to one of them, or mark its hooves by hand.",
        )


def _middle_time(fitted: FittedGait) -> float:
    times = [0.5 * (one.start + one.end) for one in fitted.footfalls if one.seen > LEAST_SEEN]
    return sum(times) / max(1, len(times))


def check_strides(toes: Sequence[Toe]) -> None:
    """Refuse a walk of which too little was seen: a whole stride, and a hind print beside the fore print it answers.

    Parameters
    ----------
    toes : sequence of Toe
        Those believed.
    """
    numbers: dict[int, set[int]] = {foot: set() for foot in range(4)}
    for toe in toes:
        numbers[toe.footfall.foot].add(toe.footfall.number)
    strides = any(number + 1 in own for own in numbers.values() for number in own)
    answered = any(numbers[side] & numbers[side + 2] for side in (0, 1))
    if len(toes) < _LEAST_STANCES or not strides or not answered:
        raise RefusedError(
            f"Only {len(toes)} stances of a walk were found surely; at least {_LEAST_STANCES} are needed, "
            "with one whole stride and one hind print beside its fore print.",
            _FILM,
        )
