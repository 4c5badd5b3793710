"""Charts of a report page as SVG by hand: an envelope of the smallest and largest value of every column."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.voice import number

HEIGHT = 90
_ROOM = 0.08


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A finding in a chart: its number on the page, and the share of the job's time at which it begins."""

    number: int
    share: float


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
    return "".join(f"h{r}v{d}" if d else f"h{r}" for r, d in zip(run.tolist(), rise.tolist(), strict=True))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plot:
    """What a chart shows: ``name`` is its address, ``prefix`` that of its marks, ``bounds`` the limits drawn across."""

    name: str
    title: str
    low: Array
    high: Array
    bounds: Sequence[float]
    scale: Scale
    marks: Sequence[Mark]
    prefix: str
    times: Sequence[float]
    """What is written below it, s, at even distances."""
    unit: str = ""
    """What is written behind the number beside a limit."""


def chart(plot: Plot) -> str:
    """Return a figure."""
    width, high, low = len(plot.low), plot.scale.high, plot.scale.low
    shapes = [f'<path class="e" d="{envelope(plot.low, plot.high, plot.scale)}"/>']
    heights = {b: float(plot.scale.rows(np.array(b))) for b in plot.bounds if low < b < high}
    shapes += [f'<path class="b" d="M0 {y:.1f}h{width}"/>' for y in heights.values()]
    shapes += [
        f'<path class="m" id="{plot.prefix}{m.number}" d="M{m.share * width:.1f} 0v{HEIGHT}"/>' for m in plot.marks
    ]
    beside = "".join(
        f'<span style="top:{100 * y / HEIGHT:.1f}%">{number(b)}{plot.unit}</span>' for b, y in heights.items()
    )
    below = "".join(f"<span>{number(float(f'{t:.4g}'))} s</span>" for t in plot.times)
    return (
        f'<figure id="{plot.name}"><figcaption>{plot.title}</figcaption>'
        f'<div><svg viewBox="0 0 {width} {HEIGHT}" preserveAspectRatio="none" role="img" aria-label="{plot.title}" '
        f'data-low="{low:.9g}" data-high="{high:.9g}">{"".join(shapes)}</svg>'
        f'<p class="y" aria-hidden="true">{beside}</p></div>'
        f'<p class="axis" aria-hidden="true">{below}</p></figure>'
    )
