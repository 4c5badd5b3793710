"""The tool path on the page, from above and from the front, coloured by the use of the limits."""

from itertools import pairwise

from hexpost.report.picture import EDGES, Drawing
from hexpost.report.png import data_uri, png, thickened
from hexpost.voice import number, percent

COLOURS = ("#a9c3d4", "#6d9ac0", "#33639c", "#10204f", "#e8590c")
"""From little to all of a limit ever darker, so that they differ in grey, too; beyond it, orange and thicker."""
LEVELS = (
    f"up to {percent(EDGES[0])}",
    *(f"{percent(a)} to {percent(b)}" for a, b in pairwise(EDGES)),
    "beyond a limit (drawn thicker)",
)
_NAMES = (("above", "from above", "y", 1), ("front", "from the front", "z", 2))


def views(drawing: Drawing | None) -> str:
    """Return both views with their legend."""
    if drawing is None:
        return ""
    figures = []
    for (key, name, up, axis), cells in zip(_NAMES, drawing.views, strict=True):
        rows, columns = cells.shape
        image = data_uri(png(thickened(cells, len(COLOURS)), COLOURS))
        low, high = drawing.box.low, drawing.box.high
        extent = f"x {_mm(low[0])} to {_mm(high[0])} mm, {up} {_mm(low[axis])} to {_mm(high[axis])} mm"
        text = f"The way of the tool tip seen {name}: {extent}"
        most = int(cells.max())
        worst = f" Worst on it: {_worst(most)}." if most else ""
        figures.append(
            f'<figure id="view-{key}"><figcaption>Seen {name}: {extent}.{worst}</figcaption><div>'
            f'<img alt="{text}." src="{image}" width="{columns}" height="{rows}" style="height:auto">'
            f'<svg viewBox="0 0 {columns} {rows}" aria-hidden="true"><circle class="dot" r="6" visibility="hidden"/>'
            "</svg></div></figure>"
        )
    return (
        "<p>Pallet frame, x to the right; the part that is shown holds every cut, and rapid moves where they pass. "
        f"Colour: how much of its most used limit any strut needs there.</p>{legend()}"
        f'<div class="views">{"".join(figures)}</div>'
    )


def legend() -> str:
    """Return the colours with their words."""
    items = []
    for colour, name in zip(COLOURS, LEVELS, strict=True):
        wide = 6 if colour == COLOURS[-1] else 3
        line = f'<path d="M0 5h22" stroke="{colour}" stroke-width="{wide}"/>'
        items.append(f'<li><svg viewBox="0 0 22 10" aria-hidden="true">{line}</svg>{name}</li>')
    return f'<ul class="legend">{"".join(items)}</ul>'


def _worst(level: int) -> str:
    return "a limit is broken" if level == len(LEVELS) else f"{LEVELS[level - 1]} of a limit"


def _mm(x: float) -> str:
    return number(round(float(x), 1))
