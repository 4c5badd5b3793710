"""The time cursor and the machine at its moment: what the script of the page shows, and the numbers that it reads."""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array, Ints, distinct
from hexpost.audit.model import quoted
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.model import Machine
from hexpost.pages.html import data
from hexpost.pages.packed import packed
from hexpost.program.model import Program
from hexpost.report.page_views import LEVELS
from hexpost.report.picture import EDGES, Drawing
from hexpost.report.track import RAPID, Track
from hexpost.units import DEG_PER_RAD
from hexpost.voice import clean, number, plural

MOST_DATA = 170_000
"""Characters that the rows take at most; beyond it every other row that nothing was found at is left out."""
MM, DEG, LENGTH, WAY_MM, FEED, SHARE, COARSE = 1e4, 1e5, 1e6, 1e2, 1e2, 1e5, 1e3
"""Whole numbers on the page for a mm and a degree of a pose, a mm of a length and of the path, a feed of 1, a use."""
_FEWEST = 2
_MOST_TEXT, _MOST_TEXTS = 110, 40_000
"""Characters of a block that the readout shows, and of all blocks."""
_AXES = ("X", "Y", "Z", "A", "B", "C")


def moment(drawing: Drawing | None, program: Program, machine: Machine) -> str:
    """Return the cursor, the machine and the readout, hidden until the script runs; nothing without rows."""
    if drawing is None or drawing.track is None or drawing.way is None:
        return ""
    track = drawing.track
    held = _held(drawing, track, program, machine)
    while len(held) > MOST_DATA and track.full.sum() > _FEWEST:
        held = _held(drawing, track := _thinned(track), program, machine)
    rows = int(track.full.sum())
    of = f"{plural(rows, 'row')} of {round(drawing.until / machine.period) + 1:,}"
    return (
        f'{held}<div id="walk" class="live" role="group" aria-label="Time cursor" hidden><div class="tools">{_BUTTONS}'
        '</div><div class="slide"><label for="slide">Time</label>'
        f'<input type="range" id="slide" min="0" max="{int(track.tick[-1])}" value="0" step="1">'
        '<output id="now" for="slide"></output></div></div>'
        '<section class="live" aria-labelledby="moment" hidden><h2 id="moment">The machine at this moment</h2>'
        '<div class="moment"><div><canvas id="view" tabindex="0" role="img" aria-describedby="keys" '
        f'aria-label="The machine with its tool path"></canvas><div class="tools">{_LOOKS}</div>{_legend()}'
        f"{_KEYS}</div>{_readout()}</div>"
        f'<p class="soft">The cursor goes to {of} of the table, and is exact there; charts show what is between. '
        f"The drawn path leaves the true way of the tool by at most {_off(drawing)} mm.</p></section>"
    )


_KEYS = (
    '<p id="keys" class="soft">Drag to turn, with Shift to move; tap the picture first, then two fingers zoom and '
    "move. Keys in the picture: arrows turn, Shift and arrows move, + and - zoom, 1 to 4 look from the front, the "
    "side, above and aslant, f shows all, p the path.</p>"
)
_BUTTONS = "".join(
    f'<button type="button" id="{key}">{name}</button>'
    for key, name in (
        ("play", "Play"),
        ("block-before", "Block before"),
        ("block-next", "Next block"),
        ("finding-before", "Finding before"),
        ("finding-next", "Next finding"),
    )
) + (
    '<label>Speed<select id="speed"><option value="0.1">1/10</option><option value="1" selected>1</option>'
    '<option value="10">10</option><option value="100">100</option><option value="1000">1000</option></select></label>'
)
_LOOKS = "".join(
    f'<button type="button" data-look="{key}">{name}</button>'
    for key, name in (
        ("front", "Front"),
        ("side", "Side"),
        ("above", "Above"),
        ("aslant", "Aslant"),
        ("all", "Show all"),
        ("path", "Show path"),
        ("nearer", "Nearer"),
        ("farther", "Farther"),
    )
)


def _legend() -> str:
    """Return the colours of struts and path with their words."""
    uses = "".join(f'<li><i class="u{k}"></i>{name.split(" (")[0]}</li>' for k, name in enumerate(LEVELS))
    return f'<ul class="uses" aria-label="Use of the most used limit">{uses}<li><i class="dash"></i>rapid</li></ul>'


def _readout() -> str:
    """Return the places of the numbers of a moment."""
    rows = [("time", "Time"), ("line", "Line"), ("block", "Block")]
    rows += [(f"axis-{k}", f"{axis} [{'mm' if k < 3 else 'deg'}]") for k, axis in enumerate(_AXES)]
    rows += [("asked", "Feed, programmed"), ("feed", "Feed, real")]
    rows += [(f"length-{k}", f"Length of strut {k} [mm]") for k in range(1, 7)]
    rows += [("worst", "Most used")]
    told = "".join(f'<div class="r-{key}"><dt>{name}</dt><dd id="r-{key}"></dd></div>' for key, name in rows)
    return f'<dl class="readout">{told}</dl>'


def _off(drawing: Drawing) -> str:
    """Return how far the drawn path leaves the way of the tool, mm, rounded up; points are drawn on hundredths."""
    off = drawing.way.off if drawing.way else 0.0
    return number(float(f"{np.ceil((off + 1.0 / WAY_MM) * 100.0) / 100.0:.2f}"))


def _thinned(track: Track) -> Track:
    """Return the track with every other row that lies evenly left out of the full ones."""
    full = track.full.copy()
    at = np.flatnonzero(full & track.way)
    full[at[1:-1:2] if len(at) > 3 else at] = False
    if full.sum() == track.full.sum():
        full[np.flatnonzero(full)[1::2]] = False
    return track.take(full | track.way, full=full[full | track.way])


def _whole(values: Array, scale: float) -> Ints:
    return np.round(values * scale).astype(np.int64)


def _texts(rows: Track, program: Program) -> str:
    """Return the blocks of rows, a line each, in the order of their lines; cut where they are long."""
    lines = distinct(rows.line).tolist()
    most = min(_MOST_TEXT, max(_MOST_TEXTS // max(len(lines), 1), 1))
    return "\n".join(clean(quoted(program.text(n)))[:most] if 1 <= n <= program.lines else "" for n in lines)


def _held(drawing: Drawing, track: Track, program: Program, machine: Machine) -> str:
    """Return the data of the script."""
    assert drawing.way is not None
    rows, way = track.take(track.full), track.take(track.way)
    pose = np.concatenate([rows.pose[:3] * MM, rows.pose[3:] * DEG_PER_RAD * DEG])
    level = np.searchsorted(EDGES, drawing.way.use) if len(drawing.way.use) == len(way.tick) else way.tick * 0
    used, frame = np.unique(rows.frame, return_inverse=True)
    pallet = pose_matrix(machine.pallet.pose, machine.tilt_order)
    micros = round(machine.period * 1e6)
    box = drawing.box
    return data(
        "job",
        {
            "micros": micros,
            "decimals": 3 if micros % 1000 == 0 else 6,
            "scale": {
                "mm": MM,
                "deg": DEG,
                "length": LENGTH,
                "way": WAY_MM,
                "feed": FEED,
                "share": SHARE,
                "coarse": COARSE,
            },
            "tick": packed(rows.tick),
            "line": packed(rows.line.astype(np.int64)),
            "frame": packed(frame.astype(np.int64)),
            "pose": [packed(_whole(x, 1.0)) for x in pose],
            "length": [packed(_whole(x, LENGTH)) for x in rows.length],
            "feed": packed(_whole(np.minimum(rows.feed, 1e12), FEED)),
            "asked": packed(_whole(np.minimum(rows.asked, 1e12), FEED)),
            "kind": packed(rows.kind.astype(np.int64)),
            "use": [packed(_whole(np.minimum(x, 1e6), COARSE)) for x in rows.use],
            "worst": packed(_whole(np.minimum(rows.use.max(axis=0), 1e6), SHARE)),
            "what": packed(_most(rows)),
            "limits": [one.limit.name for one in drawing.charted],
            "way": {
                "tick": packed(way.tick),
                "tip": [packed(_whole(x, WAY_MM)) for x in way.tip],
                "level": packed(level.astype(np.int64)),
                "rapid": packed((way.kind == RAPID).astype(np.int64)),
            },
            "texts": _texts(rows, program),
            "order": machine.tilt_order,
            "frames": [
                {"base": _numbers(track.frames[k].base_from_work[:3].ravel()), "tip": _numbers(track.frames[k].tip)}
                for k in used.tolist()
            ],
            "base": [_numbers(s.base_joint) for s in machine.struts],
            "platform": [_numbers(s.platform_joint) for s in machine.struts],
            "gauge": _numbers(machine.platform.gauge_point),
            "pallet_at": {"frame": _numbers(pallet[:3].ravel()), "size": list(machine.pallet.size)},
            "boxes": [[_numbers(b.low), _numbers(b.high)] for b in machine.keep_out],
            "views": {"low": _numbers(box.low), "cell": box.cell, "rows": [shape[0] for shape in box.shapes]},
        },
    )


def _most(rows: Track) -> Ints:
    """Return strut and limit of the most use of each row, as one number: six times the limit plus the strut from 0."""
    strut = rows.use.argmax(axis=0)
    out: Ints = 6 * rows.what[strut, np.arange(len(strut))].astype(np.int64) + strut
    return out


def _numbers(values: Sequence[float] | Array) -> list[float]:
    return [float(f"{x:.12g}") for x in np.asarray(values).tolist()]
