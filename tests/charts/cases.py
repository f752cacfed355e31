"""Walks of every awkward kind, for tests of whatever draws or shows one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from stride.quantity import Unmeasured
from stride.walk.analysis import Analysis
from stride.walk.prints import Print
from stride.walk.verdict import Verdict

from ..builders import make_analysis

NOTHING_JUDGED = Verdict(
    stride_class="undecided",
    probability={},
    sides={},
    reasons=("Nothing could be judged: no print was found.",),
    cautions=(),
    linked_build=None,
    other_causes=("pain or lameness",),
    to_settle="Film a longer stretch.",
)


def keep_prints(analysis: Analysis, keep: Callable[[Print], bool]) -> Analysis:
    """The analysis with some prints only, and what rests on them."""
    kept = [i for i, one in enumerate(analysis.prints) if keep(one)]
    new = {old: i for i, old in enumerate(kept)}
    limbs = {analysis.prints[i].limb for i in kept}
    return replace(
        analysis,
        prints=tuple(analysis.prints[i] for i in kept),
        tracks=tuple(one for one in analysis.tracks if one.limb in limbs),
        strides=tuple(
            replace(one, start=new[one.start], end=new[one.end])
            for one in analysis.strides
            if {one.start, one.end} <= new.keys()
        ),
        overreaches=tuple(
            replace(one, fore_print=new[one.fore_print], hind_print=new[one.hind_print])
            for one in analysis.overreaches
            if {one.fore_print, one.hind_print} <= new.keys()
        ),
    )


def make_one_sided() -> Analysis:
    """Only the right side was in view."""
    reason = "no left hind print could be paired with the front print it answers"
    whole = make_analysis(missing={"overreach_left": reason})
    return keep_prints(whole, lambda one: one.limb.startswith("right"))


def make_empty() -> Analysis:
    """Nothing was found at all."""
    whole = keep_prints(make_analysis(), lambda one: False)
    measures = {name: Unmeasured(reason="no print was found") for name in whole.measures}
    return replace(whole, measures=measures, verdict=NOTHING_JUDGED)


def make_unscaled_single() -> Analysis:
    """No scale, and one print of each foot: not even a stride to measure in."""
    whole = keep_prints(make_analysis(unit="stride"), lambda one: one.frames[0] < 70)
    seen: set[str] = set()
    return keep_prints(whole, lambda one: not (one.limb in seen or seen.add(one.limb)))


def make_eventless() -> Analysis:
    """No touch-down or lift-off was seen of any foot, and only a length was marked on the floor."""
    whole = make_length_only()
    blind = {"touch_down": None, "touch_down_error": None, "lift_off": None, "lift_off_error": None}
    return replace(whole, prints=tuple(replace(one, **blind) for one in whole.prints))


def make_length_only() -> Analysis:
    """A known length was marked, but no floor points."""
    whole = make_analysis()
    return replace(whole, ground=replace(whole.ground, kind="length"))


CASES: dict[str, Callable[[], Analysis]] = {
    "leftward, no scale, past the print": lambda: make_analysis(
        unit="stride", direction="right_to_left", overreach_left=0.05, overreach_right=0.09
    ),
    "long": lambda: make_analysis(prints_per_limb=17),
    "doubtful and one side short": lambda: make_analysis(
        overreach_left=0.01, overreach_right=-0.11, random_factor=5, prints_per_limb=2
    ),
    "far past": lambda: make_analysis(overreach_left=0.42, overreach_right=0.38),
    "one side": make_one_sided,
    "empty": make_empty,
    "no scale, no stride": make_unscaled_single,
    "no events, length only": make_eventless,
    "panning, odd tag": lambda: make_analysis(pan_px=900.0, tag="$x_1$ <b> 牛 \t" + "long " * 40),
}
