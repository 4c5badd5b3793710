"""Where lines and circles meet: the elementary geometry of inside corners."""

from dataclasses import dataclass
from math import pi

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.moves.compensation.contour import cross, dot

PARALLEL = 1e-12
"""Sine below which two lines do not meet."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Lines and arcs seen from a corner, shape (m,) or (2, m).

    ``point`` at the corner and unit ``tangent`` there, both along the motion; ``round`` with ``centre``, radius
    ``rho`` (1 for lines) and ``sense`` (1 counter-clockwise); ``length`` in mm, of an arc in rad.
    """

    point: Array
    tangent: Array
    round: Flags
    centre: Array
    rho: Array
    sense: Array
    length: Array

    def travel(self, to: Array, way: float, slack: Array) -> Array:
        """Return how far points ``to`` (2, m) lie ahead of the corner (``way`` 1) or back (-1), in mm or rad.

        What lies up to ``slack`` (m,) on the other side is less than nothing, not all the way around.
        """
        straight = way * dot(to - self.point, self.tangent)
        a, b = self.point - self.centre, to - self.centre
        angle = way * self.sense * np.arctan2(cross(a, b), dot(a, b))
        angle = np.where(angle < -slack, angle + 2.0 * pi, angle)
        return np.where(self.round, angle, straight)


def meet(first: Curve, second: Curve, slack: float) -> tuple[Array, Array, Array]:
    """Return where ``first``, going back from the corner, meets ``second``, going ahead: points, ways back, ahead.

    Points are (2, m), ways (m,). Of two points the one nearest to the corner along both; nan where they do not meet
    within their lengths, ``slack`` in mm allowed.
    """
    best = np.full(first.point.shape, np.nan)
    ways, least = np.zeros((2, len(first.rho))), np.full(len(first.rho), np.inf)
    over = [slack / np.maximum(curve.rho, 2.0 * slack) for curve in (first, second)]
    for candidate in _candidates(first, second, slack):
        back, ahead = first.travel(candidate, -1.0, over[0]), second.travel(candidate, 1.0, over[1])
        good = (back <= first.length + over[0]) & (ahead <= second.length + over[1])
        good &= (back >= -over[0]) & (ahead >= -over[1])
        way = back * first.rho + ahead * second.rho
        good &= way < least
        least = np.where(good, way, least)
        best = np.where(good, candidate, best)
        ways = np.where(good, np.stack((back, ahead)), ways)
    return best, ways[0], ways[1]


def _candidates(first: Curve, second: Curve, slack: float) -> tuple[Array, Array]:
    """Return the two points (2, m) in which the whole lines or circles meet, nan where there are none."""
    one, two = np.full(first.point.shape, np.nan), np.full(first.point.shape, np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        for which, (a, b) in (
            (~first.round & ~second.round, _lines(first, second)),
            (~first.round & second.round, _line_circle(first, second, slack)),
            (first.round & ~second.round, _line_circle(second, first, slack)),
            (first.round & second.round, _circles(first, second, slack)),
        ):
            one, two = np.where(which, a, one), np.where(which, b, two)
    return one, two


def _lines(first: Curve, second: Curve) -> tuple[Array, Array]:
    """Return where two lines meet, twice."""
    sine = cross(first.tangent, second.tangent)
    along = cross(second.point - first.point, second.tangent) / np.where(np.abs(sine) < PARALLEL, np.nan, sine)
    at = first.point + first.tangent * along
    return at, at


def _line_circle(line: Curve, circle: Curve, slack: float) -> tuple[Array, Array]:
    """Return where a line meets a circle; one that misses it by rounding touches it."""
    foot = dot(circle.centre - line.point, line.tangent)
    near = line.point + line.tangent * foot
    half = _half_chord(circle.rho, np.hypot(*(near - circle.centre)), slack)
    return near - line.tangent * half, near + line.tangent * half


def _circles(first: Curve, second: Curve, slack: float) -> tuple[Array, Array]:
    """Return where two circles meet."""
    apart = second.centre - first.centre
    distance = np.hypot(*apart)
    way = apart / distance
    along = (np.square(distance) + (first.rho - second.rho) * (first.rho + second.rho)) / (2.0 * distance)
    foot = first.centre + way * along
    half = _half_chord(first.rho, np.abs(along), slack)
    aside = np.stack((-way[1], way[0])) * half
    return foot - aside, foot + aside


def _half_chord(rho: Array, distance: Array, slack: float) -> Array:
    """Return half the chord of circles at a distance from their centres; nan where they are missed by ``slack``."""
    square = (rho - distance) * (rho + distance)
    out: Array = np.where(distance < rho + slack, np.sqrt(np.maximum(square, 0.0)), np.nan)
    return out
