"""A plausible analysis made by hand, for tests of whatever shows or keeps one.

The walk is a lateral-sequence walk (left hind, left fore, right hind, right fore, a quarter stride apart)
past a level camera six metres away. Its numbers come straight from the gait written down here, not from
the measuring chain.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from stride.quantity import Measured, Quantity, Unmeasured
from stride.walk.analysis import Analysis
from stride.walk.camera import CameraMotion
from stride.walk.clip import Clip, Timing
from stride.walk.ground import Ground
from stride.walk.limbs import LIMBS, PAIRS, SIDES, Limb, Side, limb_at, pair_of, side_of
from stride.walk.marks import Animal, Direction, HoofMark, Marks
from stride.walk.prints import Print
from stride.walk.settings import Settings
from stride.walk.strides import Overreach, Stride
from stride.walk.tracks import HoofTrack
from stride.walk.verdict import NamedClass, SideVerdict, StrideClass, Verdict

Array = NDArray[np.float64]

#: Added to the stated overreach of each stride in turn; the mean over three is zero.
_VARIATION = (0.011, -0.007, -0.004)
_PRINT_ERROR = (0.004, 0.012)
_LIMB_ERROR = (0.003, 0.006)
_EVENT_ERROR = 0.008
_TOUCH_DOWN_SHARE: Mapping[Limb, float] = {
    "left_hind": 0.0,
    "left_fore": 0.25,
    "right_hind": 0.5,
    "right_fore": 0.75,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Gait:
    """What is true of the walk (m, s; shares of a stride)."""

    stride_length: float = 1.56
    stride_time: float = 1.24
    duty_factor: Mapping[Limb, float]
    overreach: Mapping[Side, float]
    track_width: float = 0.26
    lift: float = 0.11
    prints_per_limb: int = 3
    start: float = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A level camera: floor (m) to picture (px)."""

    size_px: tuple[int, int]
    distance: float = 6.0
    height: float = 1.25

    @property
    def focal_px(self) -> float:
        return self.size_px[0] * 0.8

    @property
    def floor_to_px(self) -> Array:
        """(3, 3) homography; x is 0 in the middle of the picture."""
        width, height = self.size_px
        f, d, horizon = self.focal_px, self.distance, 0.55 * height
        return np.array(
            [[f, width / 2, width / 2 * d], [0, horizon, horizon * d + f * self.height], [0, 1, d]]
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """The walk, the camera and how well it is measured; lengths are divided by ``length_unit``."""

    gait: Gait
    view: View
    direction: Direction
    unit: Literal["m", "stride"]
    length_unit: float
    scale_error: float
    random_factor: float
    t: Array
    source: Literal["marked", "found"]

    @property
    def sign(self) -> int:
        return 1 if self.direction == "left_to_right" else -1


def make_analysis(
    *,
    unit: Literal["m", "stride"] = "m",
    direction: Direction = "left_to_right",
    overreach_left: float = -0.083,
    overreach_right: float = -0.079,
    duty_left_hind: float = 0.65,
    scale_error: float = 0.006,
    random_factor: float = 1.0,
    prints_per_limb: int = 3,
    frame_rate: float = 30.0,
    size_px: tuple[int, int] = (1280, 720),
    pan_px: float = 0.0,
    tag: str | None = "214",
    hip_height: float | None = None,
    missing: Mapping[str, str] | None = None,
    clip_name: str = "aisle.mp4",
    timing: Timing | None = None,
    source: Literal["marked", "found"] = "marked",
) -> Analysis:
    """An analysis with four limbs, their prints, strides, overreaches, every measure and a verdict.

    Parameters
    ----------
    unit : {"m", "stride"}
        With a measured floor plane, or with no scale at all.
    overreach_left, overreach_right : float
        Mean of each side (m, whatever the unit); a one-sided shortfall is made by setting them apart.
    duty_left_hind : float
        Duty factor of the left hind; 0.65 is even, less is a leg held shorter on the floor.
    prints_per_limb : int
        At least 2.
    random_factor : float
        Multiplies every random uncertainty; 12 makes the verdict undecided.
    pan_px : float
        How far the picture shifts from the first to the last frame: a camera that followed the animal.
    hip_height : float, optional
        m; without it the measures that need it are absent with their reason.
    missing : mapping, optional
        Measures to be absent, name → reason.

    Returns
    -------
    Analysis

    Examples
    --------
    >>> walk = make_analysis()
    >>> len(walk.prints), len(walk.overreaches), walk.verdict.stride_class
    (12, 6, 'short_strided')
    >>> make_analysis(overreach_left=0.01, overreach_right=-0.11).verdict.sides["right"].stride_class
    'short_strided'
    >>> make_analysis(random_factor=12).verdict.stride_class
    'undecided'
    """
    gait = Gait(
        duty_factor={limb: duty_left_hind if limb == "left_hind" else 0.65 for limb in LIMBS},
        overreach={"left": overreach_left, "right": overreach_right},
        prints_per_limb=prints_per_limb,
    )
    duration = gait.start + (prints_per_limb + 0.75) * gait.stride_time
    t = np.arange(round(duration * frame_rate)) / frame_rate
    scene = Scene(
        gait=gait,
        view=View(size_px=size_px),
        direction=direction,
        unit=unit,
        length_unit=gait.stride_length if unit == "stride" else 1.0,
        scale_error=scale_error if unit == "m" else 0.0,
        random_factor=random_factor,
        t=t,
        source=source,
    )
    camera = _pan(len(t), pan_px)
    prints = _prints(scene)
    strides = _strides(scene, prints)
    overreaches = _overreaches(scene, prints)
    measures = _measures(scene, prints, strides, overreaches)
    measures |= _per_height(measures, hip_height)
    measures |= {name: Unmeasured(reason=reason) for name, reason in (missing or {}).items()}
    settings = Settings()
    tracks = tuple(_track(scene, limb, camera) for limb in LIMBS)
    return Analysis(
        clip=Clip(
            name=clip_name,
            sha256="0" * 64,
            frames=len(t),
            duration=float(t[-1]),
            size_px=size_px,
            timing=timing or _container_timing(frame_rate),
        ),
        camera=camera,
        ground=_ground(scene),
        marks=_marks(tracks, direction, tag, hip_height, clip_name),
        direction=direction,
        near_side="right" if direction == "left_to_right" else "left",
        heading=(float(scene.sign), 0.0),
        tracks=tracks,
        prints=prints,
        strides=strides,
        overreaches=overreaches,
        measures=measures,
        verdict=_verdict(measures, settings),
        settings=settings,
        made_by="stride, made by hand for a test",
    )


def _container_timing(frame_rate: float) -> Timing:
    return Timing(
        source="container",
        slowed=1.0,
        frame_rate=frame_rate,
        irregular=0,
        repeated=0,
        note="Times are the presentation times stored in the file.",
    )


def _pan(frames: int, pan_px: float) -> CameraMotion:
    to_first = np.tile(np.eye(3), (frames, 1, 1))
    to_first[:, 0, 2] = np.linspace(0.0, pan_px, frames)
    return CameraMotion(
        to_first=to_first,
        residual_px=np.full(frames, 0.2),
        held=np.ones(frames, dtype=bool),
        moving=pan_px != 0,
    )


def _ground(scene: Scene) -> Ground:
    width, height = scene.view.size_px
    per_length = 1 / scene.length_unit
    matrix = np.diag([per_length, per_length, 1.0]) @ np.linalg.inv(scene.view.floor_to_px)
    scaled = scene.unit == "m"
    return Ground(
        kind="plane" if scaled else "none",
        matrix=matrix,
        parameters=(np.diag([1.0, 1.0, 0.0]) @ matrix)[None] if scaled else np.zeros((0, 3, 3)),
        covariance=np.array([[scene.scale_error**2]]) if scaled else np.zeros((0, 0)),
        scale_error=scene.scale_error,
        trusted_px=np.array(
            [[0, 0.7 * height], [width, 0.7 * height], [width, float(height)], [0, float(height)]]
        ),
        unit=scene.unit,
    )


def _print_place(scene: Scene, limb: Limb, k: int) -> Array:
    """Place (m) of the k-th print; a hind print answers the k-th fore print of its side."""
    gait = scene.gait
    along = k * gait.stride_length + (gait.stride_length / 2 if side_of(limb) == "right" else 0.0)
    if pair_of(limb) == "hind":
        along += gait.overreach[side_of(limb)] + _VARIATION[k % 3]
    along -= gait.stride_length * (gait.prints_per_limb - 0.5) / 2
    across = gait.track_width / 2 * (1 if _is_far(scene, limb) else -1)
    return np.array([scene.sign * along, across])


def _is_far(scene: Scene, limb: Limb) -> bool:
    return side_of(limb) == ("left" if scene.direction == "left_to_right" else "right")


def _print_times(limb: Limb, k: int, gait: Gait) -> tuple[float, float]:
    late = 1.0 if pair_of(limb) == "hind" else 0.0
    touch_down = gait.start + (k + late + _TOUCH_DOWN_SHARE[limb] - 0.25) * gait.stride_time
    return touch_down, touch_down + gait.duty_factor[limb] * gait.stride_time


def _to_px(view: View, xy: Array) -> Array:
    mapped = np.append(xy, 1.0) @ view.floor_to_px.T
    return mapped[:2] / mapped[2]


def _prints(scene: Scene) -> tuple[Print, ...]:
    t, length_unit, source = scene.t, scene.length_unit, scene.source
    prints = []
    for limb in LIMBS:
        for k in range(scene.gait.prints_per_limb):
            touch_down, lift_off = _print_times(limb, k, scene.gait)
            place = _print_place(scene, limb, k)
            inside = lift_off < t[-1]
            error, limb_error = (
                np.square(np.array(e) * scene.random_factor / length_unit)
                for e in (_PRINT_ERROR, _LIMB_ERROR)
            )
            prints.append(
                Print(
                    limb=limb,
                    xy=place / length_unit,
                    cov=np.diag(error),
                    limb_cov=np.diag(limb_error),
                    ground_jacobian=place[:, None] if length_unit == 1.0 else np.zeros((2, 0)),
                    xy_px=_to_px(scene.view, place),
                    touch_down=touch_down,
                    touch_down_error=_EVENT_ERROR,
                    lift_off=lift_off if inside else None,
                    lift_off_error=_EVENT_ERROR if inside else None,
                    frames=(
                        int(np.searchsorted(t, touch_down)),
                        min(int(np.searchsorted(t, lift_off)), len(t)) - 1,
                    ),
                    source=source,
                    confidence=1.0 if source == "marked" else 0.97,
                )
            )
    return tuple(sorted(prints, key=lambda one: one.touch_down))


def _track(scene: Scene, limb: Limb, camera: CameraMotion) -> HoofTrack:
    t = scene.t
    xy_px = np.array([_toe_px(scene, limb, float(time)) for time in t])
    inverse = np.linalg.inv(camera.to_first)
    mapped = np.einsum("kij,kj->ki", inverse, np.hstack([xy_px, np.ones((len(t), 1))]))
    frames = np.arange(len(t))
    return HoofTrack(
        limb=limb,
        frames=frames,
        t=t,
        xy_px=mapped[:, :2] / mapped[:, 2:],
        cov_px2=np.tile(np.eye(2) * 0.5, (len(t), 1, 1)),
        seen=~((frames % 37 > 30) & _is_far(scene, limb)),
        source=scene.source,
        offset_px2=np.full(len(frames), 0.25),
        limb_px2=0.1,
    )


def _toe_px(scene: Scene, limb: Limb, t: float) -> Array:
    """Place of the toe in the held picture: at its print in stance, on a flat arc in swing."""
    gait, view = scene.gait, scene.view
    first, _ = _print_times(limb, 0, gait)
    k = math.floor((t - first) / gait.stride_time)
    touch_down, lift_off = _print_times(limb, k, gait)
    place, lift = _print_place(scene, limb, k), 0.0
    if t > lift_off:
        share = (t - lift_off) / (touch_down + gait.stride_time - lift_off)
        ahead = _print_place(scene, limb, k + 1)
        place = place + (ahead - place) * (3 * share**2 - 2 * share**3)
        lift = gait.lift * math.sin(math.pi * share) ** 2
    xy_px = _to_px(scene.view, place)
    xy_px[1] -= lift * view.focal_px / (view.distance + place[1])
    return xy_px


def _of_limb(prints: Sequence[Print], limb: Limb) -> list[int]:
    return [i for i, one in enumerate(prints) if one.limb == limb]


def _along_error(start: Print, end: Print, share_limb: bool) -> float:
    variance = start.cov[0, 0] + end.cov[0, 0]
    return math.sqrt(variance if share_limb else variance + start.limb_cov[0, 0] + end.limb_cov[0, 0])


def _strides(scene: Scene, prints: tuple[Print, ...]) -> tuple[Stride, ...]:
    unit, scale_error = scene.unit, scene.scale_error
    strides = []
    for limb in LIMBS:
        own = _of_limb(prints, limb)
        for i, j in pairwise(own):
            start, end = prints[i], prints[j]
            length = scene.sign * float(end.xy[0] - start.xy[0])
            time = end.touch_down - start.touch_down
            stance = start.lift_off - start.touch_down
            e = _EVENT_ERROR * math.sqrt(2)
            strides.append(
                Stride(
                    limb=limb,
                    start=i,
                    end=j,
                    length=Measured(
                        value=length,
                        unit=unit,
                        random=_along_error(start, end, share_limb=True),
                        common=abs(length) * scale_error,
                    ),
                    time=Measured(value=time, unit="s", random=e, common=0.0),
                    speed=Measured(
                        value=length / time,
                        unit=f"{unit}/s",
                        random=length / time * 0.012,
                        common=length / time * scale_error,
                    ),
                    stance_time=Measured(value=stance, unit="s", random=e, common=0.0),
                    swing_time=Measured(value=time - stance, unit="s", random=e, common=0.0),
                    duty_factor=Measured(value=stance / time, unit="1", random=e / time, common=0.0),
                )
            )
    return tuple(sorted(strides, key=lambda one: one.start))


def _overreaches(scene: Scene, prints: tuple[Print, ...]) -> tuple[Overreach, ...]:
    overreaches = []
    for side in SIDES:
        pairs = zip(
            _of_limb(prints, limb_at(side, "fore")), _of_limb(prints, limb_at(side, "hind")), strict=True
        )
        for fore, hind in pairs:
            value = scene.sign * float(prints[hind].xy[0] - prints[fore].xy[0])
            overreaches.append(
                Overreach(
                    side=side,
                    fore_print=fore,
                    hind_print=hind,
                    value=Measured(
                        value=value,
                        unit=scene.unit,
                        random=_along_error(prints[fore], prints[hind], share_limb=False),
                        common=abs(value) * scene.scale_error,
                    ),
                )
            )
    return tuple(sorted(overreaches, key=lambda one: one.hind_print))


def _mean(values: Sequence[float], unit: str, random: float, scale_error: float = 0.0) -> Measured:
    n = len(values)
    mean = math.fsum(values) / n
    return Measured(
        value=mean,
        unit=unit,
        random=random / math.sqrt(n),
        common=abs(mean) * scale_error,
        spread=float(np.std(values, ddof=1)) if n > 1 else None,
        n=n,
    )


def _measures(
    scene: Scene, prints: tuple[Print, ...], strides: tuple[Stride, ...], overreaches: tuple[Overreach, ...]
) -> dict[str, Quantity]:
    unit, scale_error = scene.unit, scene.scale_error
    found: dict[str, Quantity] = {}
    for side in (None, *SIDES):
        chosen = [one.value for one in overreaches if side in (None, one.side)]
        found["overreach" if side is None else f"overreach_{side}"] = _mean(
            [one.value for one in chosen], unit, chosen[0].random, scale_error
        )
    quantities = {
        "stride_length": ("length", unit, scale_error),
        "stance_time": ("stance_time", "s", 0.0),
        "swing_time": ("swing_time", "s", 0.0),
        "duty_factor": ("duty_factor", "1", 0.0),
    }
    for limb in LIMBS:
        own = [one for one in strides if one.limb == limb]
        for name, (field, of_unit, scale) in quantities.items():
            values = [getattr(one, field) for one in own]
            found[f"{name}_{limb}"] = _mean([v.value for v in values], of_unit, values[0].random, scale)
        found[f"limb_phase_{limb}"] = _mean([_TOUCH_DOWN_SHARE[limb]] * len(own), "1", 0.01)
        found[f"hoof_lift_{limb}"] = _mean(
            [scene.gait.lift / scene.length_unit] * len(own), unit, 0.008 / scene.length_unit, scale_error
        )
    lengths, times = [one.length for one in strides], [one.time for one in strides]
    found["stride_length"] = _mean([v.value for v in lengths], unit, lengths[0].random, scale_error)
    found["stride_time"] = _mean([v.value for v in times], "s", times[0].random)
    stride_length, stride_time = found["stride_length"].value, found["stride_time"].value
    found["cadence"] = _mean([240 / stride_time] * len(strides), "1/min", 1.2)
    found["speed"] = _mean(
        [one.speed.value for one in strides], f"{unit}/s", strides[0].speed.random, scale_error
    )
    found["speed_change"] = Measured(value=0.021, unit="1", random=0.015, common=0.0, n=len(strides))
    found |= _pair_measures(scene, prints)
    found |= _support(scene.gait)
    share = [one.value.value / stride_length for one in overreaches]
    found["overreach_share"] = _mean(share, "1", overreaches[0].value.random / stride_length)
    return found


def _per_height(measures: Mapping[str, Quantity], hip_height: float | None) -> dict[str, Quantity]:
    length, speed = measures["stride_length"], measures["speed"]
    if hip_height is None or length.unit == "stride":
        reason = "hip height was not given" if hip_height is None else "the clip has no scale"
        return dict.fromkeys(("stride_length_per_hip_height", "froude"), Unmeasured(reason=reason))
    return {
        "stride_length_per_hip_height": _mean([length.value / hip_height], "1", 0.012),
        "froude": _mean([speed.value**2 / (9.81 * hip_height)], "1", 0.005),
    }


def _pair_measures(scene: Scene, prints: tuple[Print, ...]) -> dict[str, Quantity]:
    gait, unit, length_unit, scale_error = scene.gait, scene.unit, scene.length_unit, scene.scale_error
    found: dict[str, Quantity] = {}
    for pair in PAIRS:
        steps: dict[Side, list[tuple[float, float]]] = {"left": [], "right": []}
        own = [one for one in prints if pair_of(one.limb) == pair]
        for start, end in pairwise(own):
            step = scene.sign * float(end.xy[0] - start.xy[0]), end.touch_down - start.touch_down
            steps[side_of(end.limb)].append(step)
        lengths, times = ([[s[i] for s in steps[side]] for side in SIDES] for i in (0, 1))
        found[f"step_length_{pair}"] = _mean(
            [*lengths[0], *lengths[1]], unit, 0.007 / length_unit, scale_error
        )
        found[f"track_width_{pair}"] = _mean(
            [gait.track_width / length_unit] * (len(own) - 1), unit, 0.017 / length_unit, scale_error
        )
        stances = [[gait.duty_factor[limb_at(side, pair)]] for side in SIDES]
        for name, (left, right) in {"step_length": lengths, "step_time": times, "stance": stances}.items():
            a, b = float(np.mean(left)), float(np.mean(right))
            found[f"evenness_{name}_{pair}"] = Measured(
                value=2 * (a - b) / (a + b), unit="1", random=0.012, common=0.0, n=len(left)
            )
    return found


def _support(gait: Gait) -> dict[str, Quantity]:
    share = (np.arange(2000) + 0.5) / 2000
    down = sum(
        ((share - _TOUCH_DOWN_SHARE[limb]) % 1.0 < gait.duty_factor[limb]).astype(int) for limb in LIMBS
    )
    names = {"support_two": 2, "support_three": 3, "support_four": 4}
    return {
        name: Measured(
            value=float(np.mean(down == feet)), unit="1", random=0.012, common=0.0, spread=0.01, n=3
        )
        for name, feet in names.items()
    }


def _verdict(measures: Mapping[str, Quantity], settings: Settings) -> Verdict:
    whole = measures["overreach"]
    sides = {side: _judge(measures[f"overreach_{side}"], settings) for side in SIDES}
    if not whole:
        return Verdict(
            stride_class="undecided",
            probability={},
            sides={},
            reasons=("No hind print could be paired with the front print it answers.",),
            cautions=(),
            linked_build=None,
            other_causes=_OTHER_CAUSES,
            to_settle="Film a walk in which at least two strides of the near side are wholly in view.",
        )
    judged = _judge(whole, settings)
    cautions = ["Only three strides of each side were seen."]
    if {sides["left"].stride_class, sides["right"].stride_class} == {"short_strided", "fills_the_print"}:
        cautions.append(
            "One side alone is short: this could be lameness, have a vet look before you blame the build."
        )
    fills = judged.stride_class == "fills_the_print"
    return Verdict(
        stride_class=judged.stride_class,
        probability=judged.probability,
        sides=sides,
        reasons=_reasons(measures, judged),
        cautions=tuple(cautions),
        linked_build=_LINKED_BUILD.get(judged.stride_class),
        other_causes=() if fills else _OTHER_CAUSES,
        to_settle="About 8 more strides would settle it." if judged.stride_class == "undecided" else None,
    )


def _judge(overreach: Quantity, settings: Settings) -> SideVerdict:
    if not isinstance(overreach, Measured):
        return SideVerdict(stride_class="undecided", probability={})
    band = settings.band if overreach.unit == "m" else settings.band_share
    normal = NormalDist(
        overreach.value, math.hypot(overreach.total, (overreach.spread or 0) / overreach.n**0.5)
    )
    short, past = normal.cdf(-band), 1 - normal.cdf(band)
    probability: dict[NamedClass, float] = {
        "short_strided": short,
        "fills_the_print": 1 - short - past,
        "overstepping": past,
    }
    best = max(probability, key=probability.__getitem__)
    named: StrideClass = best if probability[best] >= settings.min_probability else "undecided"
    return SideVerdict(stride_class=named, probability=probability)


def _reasons(measures: Mapping[str, Quantity], judged: SideVerdict) -> tuple[str, ...]:
    whole = measures["overreach"]
    size = f"{abs(whole.value) * 100:.1f} {'cm' if whole.unit == 'm' else '% of a stride'}"
    where = "short of" if whole.value < 0 else "past"
    return (
        f"The hind foot comes down {size} {where} the front print on average.",
        f"{whole.n} overreaches were measured.",
    )


_OTHER_CAUSES = (
    "pain or lameness",
    "slow or hurried walking",
    "a slippery or sloping floor",
    "turning",
    "heavy pregnancy or a full udder",
    "fatigue",
    "a fresh trim",
)
_LINKED_BUILD: Mapping[str, str] = {
    "short_strided": "A short stride goes with a straight hind leg; this is a pointer, not a finding.",
    "overstepping": "Overstepping goes with a sickle-hocked hind leg; this is a pointer, not a finding.",
}


def _marks(
    tracks: tuple[HoofTrack, ...],
    direction: Direction,
    tag: str | None,
    hip_height: float | None,
    clip_name: str,
) -> Marks:
    hooves = tuple(
        HoofMark(
            limb=track.limb,
            frame=int(track.frames[k]),
            xy_px=(float(track.xy_px[k, 0]), float(track.xy_px[k, 1])),
        )
        for track in tracks
        if track.source == "marked"
        for k in range(0, len(track.frames), 15)
    )
    return Marks(
        clip_name=clip_name,
        direction=direction,
        hooves=hooves,
        animal=Animal(tag=tag, hip_height=hip_height),
    )
