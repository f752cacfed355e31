"""The whole measurement of one walk-by, and the chain that makes it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from ..errors import MarksError, RefusedError
from ..progress import Progress, silent
from ..quantity import Quantity
from .camera import CameraMotion
from .clip import Clip, FrameSource
from .direction import estimate_shape, find_direction, side_towards_camera
from .ground import Ground, fit_ground
from .holding import CameraFollower
from .judgement import judge
from .levelling import level_ground
from .lifts import measure_lifts
from .limbs import LIMBS, SIDES, Side, limb_at
from .marks import Direction, HoofMark, Marks, check_frames, check_places
from .measures import measure_all
from .positions import find_display_length
from .prints import Print, find_prints
from .settings import Settings
from .strides import Overreach, Stride, measure_overreaches, measure_strides
from .tracks import HoofFollower, HoofTrack
from .trackway import lay_trackway
from .verdict import Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundHooves:
    """How sure a finder is of the hooves it put in place of marks.

    Parameters
    ----------
    marks : tuple of (HoofMark, float)
        Each found hoof with the probability that it is that limb standing there.
    walk : float
        Probability that all limbs are named rightly.
    notes : tuple of str
        What a mark would improve, in whole sentences.
    """

    marks: tuple[tuple[HoofMark, float], ...]
    walk: float
    notes: tuple[str, ...]

    def weigh(self, prints: tuple[Print, ...]) -> tuple[Print, ...]:
        """Give each print the confidence of the found hoof it was followed from."""
        return tuple(
            replace(
                one,
                confidence=self.walk
                * max(
                    (
                        sure
                        for mark, sure in self.marks
                        if mark.limb == one.limb and one.frames[0] <= mark.frame <= one.frames[1]
                    ),
                    default=0.5,
                ),
            )
            for one in prints
        )

    def cautions(self) -> tuple[str, ...]:
        """What the reader must know of it."""
        return (
            "The hooves were found by the program, not marked by a person; that every foot is named rightly has a "
            f"probability of {100 * min(self.walk, 0.99):.0f} %. Look at the overlay once.",
            *self.notes,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """Everything measured in one walk-by.

    ``measures`` maps a name (``overreach_left``, ``stride_length``, …) to a :class:`~stride.quantity.Measured`
    or the reason it could not be measured. ``prints`` are ordered by touch-down; ``strides`` and ``overreaches``
    index into them. ``heading`` is the unit vector of the line of walk on the floor, pointing where the animal goes.
    """

    clip: Clip
    camera: CameraMotion
    ground: Ground
    marks: Marks
    direction: Direction
    near_side: Side
    heading: tuple[float, float]
    tracks: tuple[HoofTrack, ...]
    prints: tuple[Print, ...]
    strides: tuple[Stride, ...]
    overreaches: tuple[Overreach, ...]
    measures: Mapping[str, Quantity]
    verdict: Verdict
    settings: Settings
    made_by: str


def analyse(
    source: FrameSource,
    marks: Marks,
    settings: Settings,
    *,
    made_by: str,
    camera: CameraMotion | None = None,
    found: FoundHooves | None = None,
    progress: Progress = silent,
) -> Analysis:
    """Measure the walk of a clip whose hooves are marked or found.

    Parameters
    ----------
    source : FrameSource
    marks : Marks
        With at least one hoof of a fore and of a hind limb of one side.
    settings : Settings
    made_by : str
        Name and version of the program, kept with the result.
    camera : CameraMotion or None
        The camera's motion where it is known already; otherwise it is followed along with the hooves.
    found : FoundHooves or None
        How sure a finder is of the hooves, where it and not the user put them into ``marks``.
    progress : Progress

    Raises
    ------
    ClipError, MarksError, RefusedError
    """
    _check_pairs(marks.hooves)
    check_places(marks, source.size_px)
    direction = find_direction(marks)
    shape = estimate_shape(marks, direction, source.size_px)

    def follower() -> HoofFollower:
        return HoofFollower(marks.hooves, shape, source.size_px, settings, "found" if found else "marked")

    if camera is None:
        camera, hooves = _follow_both(source, marks.hooves, follower, progress)
    else:
        hooves = follower()
        _follow_on_floor(source, hooves, camera, progress)
    clip = source.describe()
    check_frames(marks, clip.frames)
    ground = fit_ground(marks, camera, clip.size_px, settings)
    return measure_tracks(
        clip, camera, ground, marks, direction, hooves.finish(), settings, made_by=made_by, found=found
    )


def _follow_both(
    source: FrameSource,
    marked: Sequence[HoofMark],
    follower: Callable[[], HoofFollower],
    progress: Progress,
) -> tuple[CameraMotion, HoofFollower]:
    """Follow camera and hooves together; where the camera turned out to move, the hooves again, now on a still floor.

    A camera that stands still needs one reading of the clip. The motion of one that moves is only settled once the
    whole clip has been seen, and a hoof hidden for a while is looked for where the floor has taken it meanwhile.
    """
    rows = [mark.xy_px[1] for mark in marked]
    camera = CameraFollower(source.size_px, (min(rows), max(rows)))
    hooves = follower()
    for frame in source:
        camera.add(frame)
        if not camera.moved:
            hooves.add(frame)
        progress("following", frame.index + 1, None)
    motion = camera.finish()
    if motion.moving:
        hooves = follower()
        _follow_on_floor(source, hooves, motion, progress)
    return motion, hooves


def _follow_on_floor(
    source: FrameSource, hooves: HoofFollower, camera: CameraMotion, progress: Progress
) -> None:
    for frame in source:
        hooves.add(frame, camera.to_first[frame.index] if camera.moving else None)
        progress("following the hooves on the still floor", frame.index + 1, len(camera.held))


def measure_tracks(
    clip: Clip,
    camera: CameraMotion,
    ground: Ground,
    marks: Marks,
    direction: Direction,
    tracks: tuple[HoofTrack, ...],
    settings: Settings,
    *,
    made_by: str,
    found: FoundHooves | None = None,
) -> Analysis:
    """From followed hooves to the verdict: prints → strides → measures → verdict."""
    prints = find_prints(tracks, camera, ground)
    if found is not None:
        prints = found.weigh(prints)
    ground, prints = level_ground(ground, prints)
    trackway = lay_trackway(prints, ground, direction=direction, animal=marks.animal)
    strides = measure_strides(trackway)
    overreaches = measure_overreaches(trackway)
    _check_something(prints, strides, overreaches)
    _check_direction(direction, prints, strides, told=marks.direction is not None)
    length = find_display_length(prints, strides, ground, trackway.heading)
    measures = measure_all(trackway, measure_lifts(tracks, prints, camera, ground, length))
    verdict = judge(measures, settings)
    first = (*(found.cautions() if found is not None else ()), *camera.notes)
    verdict = replace(verdict, cautions=first + verdict.cautions)
    return Analysis(
        clip=clip,
        camera=camera,
        ground=ground,
        marks=marks if found is None else replace(marks, hooves=()),
        direction=direction,
        near_side=side_towards_camera(direction),
        heading=trackway.heading,
        tracks=tracks,
        prints=prints,
        strides=strides,
        overreaches=overreaches,
        measures=measures,
        verdict=verdict,
        settings=settings,
        made_by=made_by,
    )


def _check_pairs(hooves: Sequence[HoofMark]) -> None:
    marked = {mark.limb for mark in hooves}
    if any({limb_at(side, "fore"), limb_at(side, "hind")} <= marked for side in SIDES):
        return
    named = ", ".join(sorted(limb.replace("_", " ") for limb in marked)) or "no hoof"
    raise RefusedError(
        f"Only {named} is marked; overreach needs the fore and the hind foot of one side.",
        "Mark at least one stance of a fore and of a hind hoof on the same side.",
    )


def _check_something(
    prints: Sequence[Print], strides: Sequence[Stride], overreaches: Sequence[Overreach]
) -> None:
    if strides or overreaches:
        return
    counts = {limb: sum(one.limb == limb for one in prints) for limb in LIMBS}
    seen = ", ".join(f"{count} of the {limb.replace('_', ' ')}" for limb, count in counts.items())
    raise RefusedError(
        f"No stride was seen: it takes two prints of one foot, and there are {seen}.",
        "Mark hooves in frames where each is clearly seen standing, in two stances of the same foot or more; if the "
        "walk in view is shorter than that, film a longer stretch.",
    )


def _check_direction(
    direction: Direction, prints: Sequence[Print], strides: Sequence[Stride], *, told: bool
) -> None:
    """Refuse a direction that the prints contradict: left and right, fore and hind would be taken for one another."""
    advance = sum(float(prints[one.end].xy_px[0] - prints[one.start].xy_px[0]) for one in strides)
    if not strides or (advance > 0) == (direction == "left_to_right"):
        return
    from_where = "the direction given" if told else "its fore and hind hooves"
    raise MarksError(
        f"By {from_where} the animal walks {direction.replace('_', ' ')}, but from stance to stance its hooves go "
        "the other way.",
        "Correct the direction in the marks, or check which of them are of a fore and which of a hind foot.",
    )
