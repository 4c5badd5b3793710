"""Words whose meaning the machine file settles: which of them a program holds, and between which values."""

import numpy as np

from hexpost.arrays import Array, Flags, distinct
from hexpost.moves.model import Moves
from hexpost.moves.needs.columns import WordColumns
from hexpost.moves.needs.counts import OF_LENGTH
from hexpost.moves.needs.model import ReadingUse
from hexpost.moves.reading.checks import unread
from hexpost.moves.reading.dialect import TAKEN_OUT

MOST_OFF = 0.5
"""An arc whose radii differ by more [mm] is off its circle: no setting makes it readable."""
LARGE = 1000.0
"""A length without a point of so many units may be one in increments."""
ONE_TURN = 360.0
TOOL_VECTOR = "tool-vector"
"""Name of the reading of I J K on lines."""
MOTION, WITHOUT = (0, 1, 2, 3, 73, *range(81, 90)), (4, 10, 28, 30, 74, 92)
"""Codes that say how axis words move, and codes whose axis words move nothing, or in a way of their own."""
RETURNS, CYCLES, ARCS, FEEDING = (28, 30), (73, *range(81, 90)), (2, 3), (1, 2, 3)
DISTANCE, MACHINE, PRESET = (90, 91), 53, 92
OF_DWELL = {f"dwell-{x.lower()}": x for x in "PXF"}


def matters(words: WordColumns, stated: str) -> tuple[ReadingUse, ...]:
    """Return the readings that matter in a program, from its words; ``stated`` are its units."""
    p = words.program
    axes = words.named("XYZABC")
    dwell = words.on_lines_of(words.coded("G", 4))
    home = words.coded("G", *RETURNS)
    led = words.on_lines_of(home & words.on_lines_of(axes))
    lengths = words.named(OF_LENGTH)
    large = words.named("XYZ") & ~p.pointed & (np.abs(words.value) >= LARGE)
    inverse = words.coded("G", 93).any()
    ahead = _ahead(words, axes)
    alone = _heights(words, ahead)
    found: list[tuple[str, Flags]] = [
        ("units", lengths & np.bool_(not stated)),
        *((name, dwell & words.named(x)) for name, x in OF_DWELL.items()),
        ("returns", home & led),
        ("bare-returns", home & ~led),
        ("first-feed", words.coded("G", *FEEDING) & ~words.named("F").any()),
        ("first-motion", ahead & ~alone),
        ("first-heights", alone),
        ("home-or-tap", words.coded("G", 74)),
        ("pecks", words.coded("G", 73, 83)),
        ("withdrawal", words.coded("G", 87, 88)),
        ("cycles", words.coded("G", *CYCLES)),
        ("points", large),
        ("inverse-time-arcs", words.coded("G", *ARCS) & np.bool_(inverse)),
        ("turns", words.named("ABC") & (np.abs(words.value) > ONE_TURN)),
        ("rotary", words.named("ABC")),
    ]
    return tuple(_use(words, name, chosen) for name, chosen in found if chosen.any())


def _ahead(words: WordColumns, axes: Flags) -> Flags:
    """Return which axis words are on lines ahead of the first motion word, and move.

    Those beside a G word that is not read are its parameters.
    """
    said = words.coded("G", *MOTION)
    line = words.program.line
    ahead: Flags = axes & (line < line[said].min() if said.any() else np.True_)
    if not ahead.any():
        return ahead
    lost = unread(words.letter, words.value) | (words.letter == TAKEN_OUT)
    own = words.coded("G", *WITHOUT) | (lost & (words.program.letter == ord("G")))
    return ahead & ~words.on_lines_of(own)


def _heights(words: WordColumns, ahead: Flags) -> Flags:
    """Return which axis words ``ahead`` (w,) of the first motion word are heights that ``reading.heights`` reads."""
    line = words.program.line
    after = words.named("F") | words.coded("G", PRESET) | (ahead & ~words.named("Z"))
    alone: Flags = ahead & (line < line[after].min() if after.any() else np.True_)
    if not alone.any():
        return alone
    distance = words.coded("G", *DISTANCE)
    last = np.searchsorted(line[distance], line, side="right")
    machine = words.on_lines_of(words.coded("G", MACHINE))
    absolute = np.append(DISTANCE[0], words.value[distance])[last] == DISTANCE[0]
    out: Flags = alone & (machine | (absolute & (words.value >= 0.0)))
    return out


def vectors(words: WordColumns) -> tuple[ReadingUse, ...]:
    """Return the reading of I J K on blocks of lines; of a program that is read only with a tool vector."""
    straight = words.on_lines_of(words.named("IJK")) & ~words.on_lines_of(words.coded("G", *ARCS))
    return (_use(words, TOOL_VECTOR, straight & words.named("IJK")),)


def _use(words: WordColumns, name: str, chosen: Flags) -> ReadingUse:
    """Return a reading with how often it matters, the first place, and the range of its words."""
    values, lines = words.value[chosen], words.lines(chosen)
    return ReadingUse(
        name=name, blocks=len(lines), place=words.place(int(lines[0])),
        low=float(values.min()), high=float(values.max()),
    )  # fmt: skip


def arcs_off(words: WordColumns, moves: Moves, tolerance: float) -> tuple[ReadingUse, ...]:
    """Return the reading of arcs whose radii differ by more than is allowed; of moves read with a larger tolerance."""
    off = radii_apart(moves)
    here = np.flatnonzero(off > tolerance)
    if not here.size:
        return ()
    lines = distinct(moves.line[moves.arcs.move[here]]).astype(np.int64)
    low, high = float(off[here].min()), float(off[here].max())
    return (ReadingUse(name="arc-tolerance", blocks=len(lines), place=words.place(int(lines[0])), low=low, high=high),)


def arcs_by_centre(words: WordColumns) -> tuple[ReadingUse, ...]:
    """Return the reading of arcs that close only if their centres are read the other way."""
    return (_use(words, "arc-centres", words.named("IJK")),) if words.named("IJK").any() else ()


def radii_apart(moves: Moves) -> Array:
    """Return by how much start and end radius of the arcs (k,) differ, mm."""
    move, axis = moves.arcs.move, moves.arcs.axis.astype(np.int64)
    k = np.arange(len(move))
    radii: list[Array] = []
    for points in (moves.start[:, move], moves.end[:, move]):
        arm = points[:3] - moves.arcs.centre
        radii.append(np.hypot(arm[(axis + 1) % 3, k], arm[(axis + 2) % 3, k]))
    return np.abs(radii[0] - radii[1])
