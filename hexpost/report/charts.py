"""Charts of a report page as SVG by hand: an envelope of the smallest and largest value of every column.

The picture has ``COLUMNS`` columns; finer ones go along as numbers, for the script that zooms.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.documents import filled
from hexpost.pages.packed import packed
from hexpost.report.picture import COLUMNS
from hexpost.voice import number

HEIGHT = 90
STEPS = 1000
"""Steps of the height of a chart in which its fine columns are kept, outwards; -1 for no value."""
_ROOM = 0.08
_THIN = 0.05
_LEAST_WIDE = 1.0
"""Columns that the band of a finding is wide, at least."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A finding in a chart: its number on the page, and the shares of the job's time at which it begins and ends."""

    number: int
    share: float
    until: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """What the height of a chart stands for: ``low`` at the bottom, ``high`` at the top."""

    low: float
    high: float

    def rows(self, values: Array) -> Array:
        """Return the heights of values, counted from the top."""
        out: Array = HEIGHT * (self.high - values) / (self.high - self.low)
        return out


def scale(low: float, high: float, least: float, most: float) -> Scale:
    """Return a scale that holds the band ``low`` to ``high`` of a limit, and all values from ``least`` to ``most``."""
    a, b = min(low, least), max(high, most)
    room = _ROOM * (b - a) if b > a else 1.0
    return Scale(low=a - room, high=b + room)


def envelope(low: Array, high: Array, scale_: Scale) -> str:
    """Return the path of an envelope (w,) and (w,): every column is a step, never less than one unit high."""
    top = np.floor(scale_.rows(high)).astype(np.int64)
    bottom = np.maximum(np.ceil(scale_.rows(low)).astype(np.int64), top + 1)
    return f"M0 {top[0]}{_steps(top, 1)}v{bottom[-1] - top[-1]}{_steps(bottom[::-1], -1)}z"


def _steps(rows: Ints, way: int) -> str:
    """Return the steps along ``rows``, one column each, runs of one height as one."""
    cut = np.flatnonzero(np.append(rows[1:] != rows[:-1], True))
    run = np.diff(np.append(-1, cut)) * way
    rise = np.append(np.diff(rows[cut]), 0)
    return filled("h%dv%d", [run.tolist(), rise.tolist()]).removesuffix("v0")


def _line(rows: Array) -> str:
    """Return the path of a line of steps through heights (w,), broken where there is none."""
    known = np.isfinite(rows)
    step = np.round(np.where(known, rows, -1.0), 1)
    cut = np.flatnonzero(np.append(True, step[1:] != step[:-1]))
    ends = np.append(cut[1:], len(step))
    parts = zip(cut.tolist(), ends.tolist(), step[cut].tolist(), known[cut].tolist(), strict=True)
    return "".join(f"M{a} {y:g}h{b - a}" for a, b, y, there in parts if there)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plot:
    """What a chart shows: ``name`` is its address, ``prefix`` that of its marks, ``bounds`` the limits drawn across.

    ``low`` and ``high`` (w,) are its fine columns.
    """

    name: str
    title: str
    low: Array
    high: Array
    bounds: Sequence[float]
    scale: Scale
    marks: Sequence[Mark]
    prefix: str
    times: Sequence[float]
    """What is written below it, in ``along``, at even distances."""
    unit: str = ""
    """What is written behind the number beside a limit."""
    asked: Array | None = None
    """What is drawn as a line across the envelope (w,), nan where there is none."""
    least: bool = False
    """Whether a single bound is the least that is allowed, not the most."""
    along: str = "s"


def joined(values: Array, columns: int, ufunc: np.ufunc) -> Array:
    """Return fine columns (w,) as at most so many; wider columns hold whole ones where w is no more or a multiple."""
    wide = np.arange(len(values)) * min(columns, len(values)) // len(values)
    out: Array = ufunc.reduceat(values, np.flatnonzero(np.append(True, wide[1:] != wide[:-1])))
    return out


def chart(plot: Plot, fine: int) -> str:
    """Return a figure, with ``fine`` columns for the script at most; fewer than are drawn: none."""
    drawn_low, drawn_high = joined(plot.low, COLUMNS, np.minimum), joined(plot.high, COLUMNS, np.maximum)
    width, high, low = len(drawn_low), plot.scale.high, plot.scale.low
    shapes = [*_beyond(plot, width), f'<path class="e" d="{envelope(drawn_low, drawn_high, plot.scale)}"/>']
    if plot.asked is not None:
        shapes.append(f'<path class="a" d="{_line(plot.scale.rows(joined(plot.asked, COLUMNS, np.fmax)))}"/>')
    heights = {b: float(plot.scale.rows(np.array(b))) for b in plot.bounds if low < b < high}
    shapes += [f'<path class="b" d="M0 {y:.1f}h{width}"/>' for y in heights.values()]
    for m in plot.marks:
        wide = max((m.until - m.share) * width, _LEAST_WIDE)
        place = f'x="{m.share * width:.1f}" width="{wide:.1f}" height="{HEIGHT}"'
        shapes.append(f'<rect class="m" id="{plot.prefix}{m.number}" {place}/>')
    beside = "".join(
        f'<span style="top:{100 * y / HEIGHT:.1f}%">{number(b)}{plot.unit}</span>' for b, y in heights.items()
    )
    below = "".join(f"<span>{number(float(f'{t:.4g}'))} {plot.along}</span>" for t in plot.times)
    return (
        f'<figure id="{plot.name}"><figcaption>{plot.title}</figcaption>'
        f'<div><svg viewBox="0 0 {width} {HEIGHT}" preserveAspectRatio="none" role="img" aria-label="{plot.title}" '
        f'data-low="{low:.9g}" data-high="{high:.9g}"{_fine(plot, fine)}>{"".join(shapes)}</svg>'
        f'<p class="y" aria-hidden="true">{beside}</p></div>'
        f'<p class="axis" aria-hidden="true">{below}</p></figure>'
    )


def _fine(plot: Plot, most: int) -> str:
    """Return the fine columns as attributes: their heights in steps from the top, outwards."""
    if min(most, len(plot.low)) <= COLUMNS < len(plot.low):
        return ""
    steps = STEPS / HEIGHT
    top = np.floor(steps * plot.scale.rows(joined(plot.high, most, np.maximum))).astype(np.int64)
    rest = np.ceil(steps * plot.scale.rows(joined(plot.low, most, np.minimum))).astype(np.int64) - top
    out = f' data-top="{packed(top)}" data-rest="{packed(rest)}"'
    if plot.asked is not None:
        asked = plot.scale.rows(joined(plot.asked, most, np.fmax))
        out += f' data-asked="{packed(np.where(np.isfinite(asked), np.round(steps * asked), -1).astype(np.int64))}"'
    return out


def _beyond(plot: Plot, wide: int) -> list[str]:
    """Return the bands beyond the limits."""
    ends = [float(y) for y in plot.scale.rows(np.array(plot.bounds))]
    if len(ends) > 1:
        bands = [(0.0, min(ends)), (max(ends), HEIGHT)]
    elif plot.least:
        bands = [(ends[0], HEIGHT)]
    else:
        bands = [(0.0, y) for y in ends]
    return [f'<rect class="z" y="{a:.1f}" width="{wide}" height="{b - a:.1f}"/>' for a, b in bands if b - a > _THIN]
