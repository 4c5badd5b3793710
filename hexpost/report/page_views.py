"""Views of a job as pictures inside the page: PNG of a few colours (ISO/IEC 15948)."""

import struct
import zlib
from base64 import b64encode
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from hexpost.arrays import Codes
from hexpost.report.picture import EDGES, Drawing
from hexpost.voice import number, percent


def png(cells: Codes, colours: Sequence[str]) -> bytes:
    """Return an image of ``cells`` (rows, columns): 0 is transparent, k is colour k - 1 (``#rrggbb``)."""
    rows, columns = cells.shape
    head = struct.pack(">IIBBBBB", columns, rows, 8, 3, 0, 0, 0)
    palette = bytes(3) + b"".join(bytes.fromhex(c[1:]) for c in colours)
    raw = np.zeros((rows, columns + 1), dtype=np.uint8)
    raw[:, 1:] = cells
    chunks = ((b"IHDR", head), (b"PLTE", palette), (b"tRNS", b"\0"), (b"IDAT", zlib.compress(raw.tobytes(), 9)))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(k, d) for k, d in (*chunks, (b"IEND", b"")))


def data_uri(image: bytes) -> str:
    """Return an image as the address of itself."""
    return "data:image/png;base64," + b64encode(image).decode()


def thickened(cells: Codes, level: int) -> Codes:
    """Return ``cells`` with everything of at least ``level`` grown by a cell each way, so that one cell is seen."""
    grown = np.pad(np.where(cells >= level, cells, 0), 1)
    for axis in (0, 1):
        grown = np.maximum(grown, np.maximum(np.roll(grown, 1, axis), np.roll(grown, -1, axis)))
    out: Codes = np.maximum(cells, grown[1:-1, 1:-1])
    return out


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


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
