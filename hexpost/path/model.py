"""What the path builder hands on: pieces in six coordinates as a function of a path parameter."""

from dataclasses import dataclass

from hexpost.arrays import Array, Codes, Ints, Lines

REST, ROUND, CORNER, QUINTIC = 0, 1, 2, 3
"""Kinds of piece: what is left of a line; what is left of an arc or helix; a rounded corner between two lines;
a rounded corner with an arc on at least one side."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Path:
    """Pieces as columns, shape (p,), in the order of travel; the parameter s is metric: ds2 = |dp|2 + (rho da)2.

    ``kind``, ``move`` (a corner belongs to the move that ends in it), ``size`` (parameter length), ``s0`` (p + 1,)
    running parameter, ``span_first`` (spans + 1,) first piece of each stop-to-stop span.
    """

    kind: Codes
    move: Lines
    size: Array
    s0: Array
    span_first: Ints
