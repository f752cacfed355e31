"""``stride measure CLIP``."""

from __future__ import annotations

import json
from pathlib import Path

import click

from .progress_bar import shown_progress


def _read_rate(_context: click.Context, _option: click.Parameter, rate: float | None) -> float | None:
    if rate is not None and not 1 <= rate <= 2000:  # also refuses what is no number
        raise click.BadParameter(f"{rate:g} is not between 1 and 2000 frames a second.")
    return rate


@click.command("measure", short_help="Measure one walk-by.")
@click.argument("clip", type=click.Path(readable=False, path_type=Path))
@click.option(
    "--marks",
    "marks_path",
    type=click.Path(readable=False, path_type=Path),
    metavar="FILE",
    help="Marks made in the clip; by default CLIP.marks.json beside it.",
)
@click.option(
    "--filmed-at",
    type=float,
    callback=_read_rate,
    metavar="FPS",
    help="Frames per second of life, for slow motion that the file does not tell.",
)
@click.option("--animal", "tag", metavar="TAG", help="The animal's tag.")
@click.option(
    "--out",
    type=click.Path(readable=False, path_type=Path),
    metavar="DIR",
    help="Where the results go; by default beside the clip, in CLIP.stride.",
)
@click.option(
    "--json",
    "as_json",
    is_flag=True,
    help="Print the analysis document on standard output, and nothing else there.",
)
@click.option("--no-overlay", is_flag=True, help="Leave out the film with the prints drawn on it; quicker.")
def command(
    *,
    clip: Path,
    marks_path: Path | None,
    filmed_at: float | None,
    tag: str | None,
    out: Path | None,
    as_json: bool,
    no_overlay: bool,
) -> None:
    """Measure the walk-by in CLIP and write its results.

    Writes into the result folder: report.html (one page, works offline), overlay.mp4, charts/, prints.csv,
    strides.csv and analysis.json.
    """
    from ..records.archive import write_analysis
    from ..session import measure_clip
    from .summary import summarise

    with shown_progress() as progress:
        result = measure_clip(
            clip,
            marks_path=marks_path,
            filmed_at=filmed_at,
            tag=tag,
            out=out,
            overlay=not no_overlay,
            progress=progress,
        )
    if as_json:
        click.echo(json.dumps(write_analysis(result.analysis), ensure_ascii=False, allow_nan=False))
        return
    for line in summarise(result.analysis):
        click.echo(line)
    click.echo(f"Page: {result.folder / 'report.html'}")
