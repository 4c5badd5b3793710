"""Arcs and helices: centre and turn from I J K or R, checked, all arcs of a window at once."""

from collections.abc import Callable
from dataclasses import dataclass
from math import pi

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.machine.words import NONE
from hexpost.moves.model import Arcs
from hexpost.moves.motion.positions import Positions
from hexpost.moves.window.blocks import Blocks
from hexpost.moves.window.complaints import MOST_COUNTED, Complaints
from hexpost.moves.window.modes import PLANES

FULL = 1e-6
"""Millimetres between start and end below which an arc is a full circle: the last digit of the table."""


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """What the blocks of k arcs say: offsets I J K (3, k) and radius (k,) in mm, and which of them are given.

    ``named`` (3, k): which of I J K stand in the block.
    """

    offset: Array
    named: Flags
    given: Flags
    radius: Array
    by_radius: Flags


def arcs(blocks: Blocks, at: Positions) -> Arcs:
    """Return the arcs of a window; those that cannot be are reported and turn by a nominal amount.

    R is positive up to 180 degrees and negative beyond; I J K run from the start point (common practice); the
    centre by R lies on the perpendicular bisector of the chord (Euclid, Elements III.1).
    """
    movement = blocks.movement
    motion = movement.column(blocks.modes.motion)
    move = np.flatnonzero((motion == 2) | (motion == 3))
    if move.size == 0:
        return Arcs(move, np.empty((3, 0)), np.empty(0, np.uint8), np.empty(0))
    plane = movement.column(blocks.modes.plane)[move]
    u, v, w = (np.choose(plane - 17, [PLANES[p][i] for p in (17, 18, 19)]) for i in range(3))
    k = np.arange(len(move))
    tolerance = blocks.reading.arc_tolerance
    start, end = at.start[:, move], at.end[:, move]
    asked = _asked(blocks, move)
    absolute = _absolute(blocks, move)
    asked.offset[:] -= np.where(absolute & asked.named, start[:3], 0.0)
    sign = np.where(motion[move] == 3, 1.0, -1.0)
    a = np.stack((start[u, k], start[v, k]))
    b = np.stack((end[u, k], end[v, k]))
    rows = movement.rows[move]
    tell = _Teller(blocks.complaints, rows, ~blocks.complaints.spoilt(rows))
    certain = blocks.complaints.certain(rows) & blocks.complaints.certain(movement.rows[np.maximum(move - 1, 0)])
    _check_words(asked, w, k, absolute, tell)
    tell.say(
        absolute & asked.given & ~(asked.named[u, k] & asked.named[v, k]),
        "arc-centre-half",
        "the centre of the arc is absolute, and one of its two places is missing",
        "write the two of I J K that belong to the plane",
    )
    tell.known &= certain
    c = np.where(
        asked.by_radius,
        _centre_by_radius((a, b), asked, sign, tolerance, tell),
        _centre_by_offset((a, b), np.stack((asked.offset[u, k], asked.offset[v, k])), asked, tolerance, tell),
    )  # fmt: skip
    centre = np.zeros((3, len(move)))
    centre[u, k], centre[v, k], centre[w, k] = c[0], c[1], start[w, k]
    return Arcs(move, centre, w.astype(np.uint8), _turn(a - c, b - c, sign))


@dataclass(slots=True, eq=False)
class _Teller:
    """Reports arcs by their flag; sequels of other faults (``known`` false) are left out."""

    complaints: Complaints
    rows: Ints
    known: Flags

    def say(self, wrong: Flags, code: str, what: str | Callable[[int], str], hint: str = "") -> None:
        """Report the arcs that are ``wrong`` (k,); ``what`` may be a function of the number of the arc."""
        if not wrong.any():
            return
        told = np.flatnonzero(wrong & self.known)
        if isinstance(what, str):
            self.complaints.blocks(self.rows[told], code, what, hint)
        else:
            for k in told[:MOST_COUNTED].tolist():
                self.complaints.blocks(self.rows[k : k + 1], code, what(k), hint)
        self.known &= ~wrong


def _asked(blocks: Blocks, move: Ints) -> _Asked:
    """Return what the blocks of the arcs say of their centres."""
    offset, radius = np.zeros((3, len(move))), np.zeros(len(move))
    named = np.zeros((3, len(move)), dtype=np.bool_)
    given, by_radius = np.zeros(len(move), dtype=np.bool_), np.zeros(len(move), dtype=np.bool_)
    for column, flag, letter in zip((*offset, radius), (*named, by_radius), ("I", "J", "K", "R"), strict=True):
        words = blocks.sheet.letter(letter)
        motion = blocks.modes.motion[words.row]
        words = words.take((motion == 2) | (motion == 3))
        of_arc = np.searchsorted(move, blocks.movement.place(words.row))
        column[of_arc] = blocks.millimetres(words)
        flag[of_arc] = True
    return _Asked(offset, named, np.any(named, axis=0, out=given), radius, by_radius)


def _absolute(blocks: Blocks, move: Ints) -> Flags:
    """Return which arcs (k,) have absolute centres."""
    usual = blocks.reading.arc_centre == "absolute"
    mode = blocks.movement.column(blocks.modes.arc_mode)[move]
    out: Flags = np.where(mode == NONE, usual, mode == 1)
    return out


def _check_words(asked: _Asked, normal: Ints, k: Ints, absolute: Flags, tell: _Teller) -> None:
    """Report arcs with no centre, with two, or with a centre out of their plane."""
    tell.say(
        ~asked.given & ~asked.by_radius,
        "arc-centre-missing",
        "the arc has no centre",
    )
    tell.say(
        asked.given & asked.by_radius,
        "arc-two-centres",
        "the arc has I J K and R; take one of them out",
    )
    tell.say(
        (asked.offset[normal, k] != 0.0) | (absolute & asked.named[normal, k]),
        "arc-word-out-of-plane",
        "the centre of the arc is out of its plane; write the two of I J K that belong to the plane",
        "check G17, G18, G19; a lead per turn is not read: give the end point",
    )


def _centre_by_radius(ends: tuple[Array, Array], asked: _Asked, sign: Array, tolerance: float, tell: _Teller) -> Array:
    """Return the centres (2, k) of arcs by R; a positive R turns by at most 180 degrees, a negative one by more."""
    a, b = ends
    radius, which = asked.radius, asked.by_radius
    chord = b - a
    length = np.hypot(*chord)
    half, size = length / 2.0, np.abs(radius)
    tell.say(which & (size == 0.0), "arc-radius-bad", "an arc of radius 0")
    tell.say(
        which & (length <= FULL),
        "arc-full-circle-by-radius",
        "an arc by R that ends where it starts: its centre could be anywhere",
        "give the centre by I J K",
    )
    tell.say(
        which & (half - size > tolerance),
        "arc-radius-too-small",
        lambda k: (
            f"an arc whose radius, {size[k]:.6g} mm, is less than half the distance between its ends, "
            f"{half[k]:.6g} mm: no such arc exists"
        ),
    )
    height = np.sqrt(np.maximum(size - half, 0.0) * (size + half))
    aside = np.stack((-chord[1], chord[0])) / np.where(length > 0.0, length, 1.0)
    out: Array = (a + b) / 2.0 + aside * height * sign * np.where(radius > 0.0, 1.0, -1.0)
    return out


def _centre_by_offset(
    ends: tuple[Array, Array], offset: Array, asked: _Asked, tolerance: float, tell: _Teller
) -> Array:
    """Return the centres (2, k) of arcs by I J K; the end radius may differ from the start radius by rounding."""
    a, b = ends
    which = asked.given & ~asked.by_radius
    radius, end_radius = np.hypot(*offset), np.hypot(*(b - a - offset))
    tell.say(which & (radius == 0.0), "arc-radius-bad", "an arc of radius 0: its centre is its start point")
    tell.say(
        which & (np.abs(end_radius - radius) > tolerance),
        "arc-end-off",
        lambda k: (
            f"the end point of the arc is not on its circle: the start radius is {radius[k]:.6g} mm, the end radius "
            f"{end_radius[k]:.6g} mm, and they may differ by {tolerance:g} mm"
        ),
        "are centres increments or places (words.arc_centre)? check I J K, or words.arc_tolerance_mm",
    )
    return a + offset


def _turn(start: Array, end: Array, sign: Array) -> Array:
    """Return the signed turns (k,) from ``start`` to ``end`` (2, k), seen from the centre, in the sense ``sign``.

    An arc shorter than ``FULL`` ends where it starts: it is a full circle.
    """
    cross = start[0] * end[1] - start[1] * end[0]
    dot = start[0] * end[0] + start[1] * end[1]
    angle = np.arctan2(sign * cross, dot)
    angle = np.where(angle < 0.0, angle + 2.0 * pi, angle)
    radius = np.hypot(*start)
    none = (angle * radius <= FULL) | ((2.0 * pi - angle) * radius <= FULL)
    out: Array = sign * np.where(none, 2.0 * pi, angle)
    return out
