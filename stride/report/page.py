"""One page about one walk: a single file that opens without a network and prints on paper."""

from __future__ import annotations

import base64
import datetime as dt
import os
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined

from ..charts.gallery import TITLES, explain_chart
from ..errors import OutputError
from ..walk.analysis import Analysis
from ..walk.limbs import SIDES, Side
from ..walk.verdict import NamedClass
from ..walk.wording import (
    COVERAGE_FACTOR,
    class_meaning,
    class_name,
    say_judgement,
    say_probability,
)
from .tables import (
    list_key_measures,
    list_measures,
    list_overreaches,
    list_prints,
    list_settings,
    list_strides,
)

_MEDIA_TYPES: Final[Mapping[str, str]] = {
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".webp": "image/webp",
}
_NO_BREAK: Final = "\N{NO-BREAK SPACE}"
_CLASSES: Final[tuple[NamedClass, ...]] = ("short_strided", "fills_the_print", "overstepping")

FILMING_CAUTIONS: Final = (
    "No one walks in front of or behind a loose animal to film it.",
    "Use a halter or a race, and a floor that does not slip.",
    "No chasing: let it walk at its own pace.",
    "A second person watches the animal while the first one films.",
    "Stop if it is distressed.",
)
STANDING_CAUTIONS: Final = (
    "This page measures one walk-by. It never replaces an examination: vets, local welfare law and the sale's own "
    "rules decide.",
    "Pain shortens a stride as surely as build does. If the animal is lame, sore or uneven, have a vet look before you "
    "blame the build.",
    "It does not say how long an animal will last. Compare walks only on the same floor, at about the same speed.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture that is carried inside the page.

    Parameters
    ----------
    title : str
        Its heading.
    alt : str
        What it shows and how it is read, for who cannot see it.
    source : str
        ``data:`` address of its content.
    """

    title: str
    alt: str
    source: str


@lru_cache(maxsize=1)
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("stride", "report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["bind"] = _bind
    return environment


def _bind(text: str) -> str:
    """Keep a number and what belongs to it on one line."""
    return text.replace(" %", f"{_NO_BREAK}%").replace("± ", f"±{_NO_BREAK}").replace(" cm", f"{_NO_BREAK}cm")


def render_page(
    analysis: Analysis,
    charts: Sequence[Picture],
    *,
    frames: Sequence[Picture] = (),
    overlay: str | None = None,
    filmed_on: dt.date | None = None,
) -> str:
    """The page as HTML.

    Everything given by a user, such as the tag, the clip's name and the reasons, is escaped; the page loads nothing but
    the overlay video beside it.

    Parameters
    ----------
    analysis : Analysis
    charts, frames : sequence of Picture
    overlay : str, optional
        Address of the overlay video relative to the page.
    filmed_on : date, optional
        A clip does not say reliably when it was filmed, so the page does not either unless it is told.
    """
    return (
        _environment()
        .get_template("page.html.j2")
        .render(
            analysis=analysis,
            verdict=analysis.verdict,
            headline=class_name(analysis.verdict.stride_class),
            meaning=class_meaning(analysis.verdict.stride_class),
            judgement=say_judgement(analysis.verdict),
            odds=_list_odds(analysis),
            sides=[(side, _judge_side(analysis, side)) for side in SIDES],
            facts=_list_facts(analysis, filmed_on),
            key_measures=list_key_measures(analysis.measures),
            sections=list_measures(analysis.measures),
            strides=list_strides(analysis),
            overreaches=list_overreaches(analysis),
            prints=list_prints(analysis),
            settings=list_settings(analysis.settings),
            ground=explain_ground(analysis),
            camera=_explain_camera(analysis),
            timing=_explain_timing(analysis),
            charts=charts,
            frames=frames,
            overlay=overlay,
            standing_cautions=STANDING_CAUTIONS,
            filming_cautions=FILMING_CAUTIONS,
        )
    )


def _judge_side(analysis: Analysis, side: Side) -> str:
    judged = analysis.verdict.sides.get(side)
    return say_judgement(judged) if judged else "Not judged: no overreach was measured there."


def _list_odds(analysis: Analysis) -> list[tuple[str, str, str]]:
    """Name, probability in words and width of the bar (%) of each class; empty where nothing was judged."""
    probability = analysis.verdict.probability
    return [
        (class_name(one), say_probability(probability[one]), f"{100 * probability[one]:.1f}")
        for one in _CLASSES
        if one in probability
    ]


def _list_facts(analysis: Analysis, filmed_on: dt.date | None) -> list[tuple[str, str]]:
    clip, way = analysis.clip, analysis.direction.replace("_", " ")
    date = f"{filmed_on.day} {filmed_on:%B %Y}" if filmed_on else "not given"
    limbs = {one.limb for one in analysis.prints}
    prints = f"{len(analysis.prints)} prints of {len(limbs)} feet" if limbs else "no prints"
    size = f"{clip.size_px[0]} × {clip.size_px[1]}"
    animal = analysis.marks.animal
    height = f"{animal.hip_height * 100:.0f} cm, as given" if animal.hip_height else "not given"
    return [
        ("Filmed on", date),
        ("Clip", clip.name),
        ("Length", f"{clip.duration:.1f} s, {clip.frames} frames of {size}"),
        ("Walked", f"{way} through the picture, its {analysis.near_side} side to the camera"),
        ("Seen", prints),
        ("Hip height", height),
    ]


def explain_ground(analysis: Analysis) -> str:
    """What the clip's scale rests on, and what it allows to be said."""
    ground = analysis.ground
    scale = f"± {COVERAGE_FACTOR * ground.scale_error * 100:.1f} % (95 %)"
    if ground.kind == "plane":
        return (
            "Floor points of known place were marked, so lengths along and across the walk are in centimetres. The "
            f"scale itself is uncertain by {scale}; every length in the clip shares that, and it is counted in every ±."
        )
    if ground.kind == "length":
        return (
            "A known length along the line of walk was marked, so lengths along the walk are in centimetres. The scale "
            f"itself is uncertain by {scale}; every length in the clip shares that, and it is counted in every ±. "
            "Across the walk nothing was measured."
        )
    return (
        "Nothing of known length was marked, so this clip has no scale and no centimetres are claimed. Lengths are "
        "shares of this animal's own mean stride: a short stride with the hind foot in the print looks like a long "
        "one. Lay a scale card or a tape by the line of walk, mark it and measure again to get centimetres."
    )


def _explain_camera(analysis: Analysis) -> str:
    camera = analysis.camera
    lost = int((~camera.held).sum())
    words = (
        "The camera moved; its motion was taken out by following the floor and the background."
        if camera.moving
        else "The camera stood still."
    )
    return (
        f"{words} In {lost} frames it could not be followed; nothing was measured there." if lost else words
    )


def _explain_timing(analysis: Analysis) -> str:
    timing = analysis.clip.timing
    parts = [timing.note, f"About {timing.frame_rate:.0f} frames for each second of life."]
    if timing.slowed != 1:
        parts.append(
            f"The file plays {timing.slowed:g} times slower than life; all times here are times of life."
        )
    if timing.irregular:
        parts.append(f"{timing.irregular} frames came at irregular times; their own times were used.")
    if timing.repeated:
        parts.append(f"{timing.repeated} frames only repeat the one before.")
    return " ".join(parts)


def load_picture(path: Path, title: str, alt: str) -> Picture:
    """Read an SVG, PNG, JPEG or WebP file to be carried inside the page.

    Raises
    ------
    OutputError
        If the file cannot be read.
    ValueError
        If it is of another kind.
    """
    media_type = _MEDIA_TYPES.get(path.suffix.lower())
    if media_type is None:
        raise ValueError(
            f"a page carries {', '.join(_MEDIA_TYPES)} pictures, got {path.name}; convert it first"
        )
    try:
        content = path.read_bytes()
    except OSError as error:
        raise OutputError(
            f"The picture {path} could not be read for the report ({error.strerror}).",
            "Save the charts again, then the report.",
        ) from error
    return Picture(
        title=title, alt=alt, source=f"data:{media_type};base64,{base64.b64encode(content).decode()}"
    )


def write_report(
    analysis: Analysis,
    charts: Mapping[str, Path],
    path: Path,
    *,
    overlay: Path | None = None,
    frames: Sequence[tuple[str, Path]] = (),
    filmed_on: dt.date | None = None,
) -> None:
    """Write the page: one file, with the charts inside it and the overlay video beside it.

    Parameters
    ----------
    analysis : Analysis
    charts : mapping of name to Path
        SVG or PNG files, as :func:`~stride.charts.gallery.save_charts` names them.
    path : Path
        The page; its folder is made if it is not there.
    overlay : Path, optional
        The overlay video; linked by its place relative to the page, and left out if the file is not there.
    frames : sequence of (caption, Path), optional
        Single pictures of the clip.
    filmed_on : date, optional

    Raises
    ------
    OutputError
        If a picture cannot be read or the page cannot be written.
    """
    link = None
    if overlay is not None and overlay.is_file():
        link = quote(os.path.relpath(overlay, path.parent).replace(os.sep, "/"))
    page = render_page(
        analysis,
        [
            load_picture(chart, TITLES.get(name, name), explain_chart(name, analysis))
            for name, chart in charts.items()
        ],
        frames=[load_picture(frame, caption, caption) for caption, frame in frames],
        overlay=link,
        filmed_on=filmed_on,
    )
    part = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(page, encoding="utf-8")
        os.replace(part, path)
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise OutputError(
            f"The report {path} could not be written ({error.strerror}).",
            "Choose a folder that can be written and has room.",
        ) from error
