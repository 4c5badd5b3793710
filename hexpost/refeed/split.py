"""Cut long straight blocks into parts, so that each can have its own feed."""

import math

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.moves.reading.plain import axis_words
from hexpost.pipeline import Inputs
from hexpost.program.model import Program
from hexpost.refeed.cuts import cuts
from hexpost.refeed.text import joined, word_at
from hexpost.units import DEG_PER_RAD

AXES = "XYZABC"
NEAR = 1e-6
"""A word that says another place than where the move ends (mm, deg) is not an absolute coordinate."""
NEARBY = 0.25
"""A cut is moved by less than this share of the shortest part."""


def split_lines(inputs: Inputs, lines: list[int]) -> tuple[bytes, Ints]:
    """Return the program with long straight blocks among ``lines`` cut, and of each new line the old one it comes from.

    Only blocks that run once, say nothing but where to go, and name absolute coordinates. The last part keeps the
    block's own figures; places between are rounded to the program's decimals.
    """
    program, moves = inputs.program, inputs.meaning.moves
    out: dict[int, bytes] = {}
    times = np.ones(program.lines, dtype=np.int64)
    for k, shares in cuts(inputs, lines).items():
        line = int(moves.line[k])
        unit = float(inputs.meaning.written.scale.at(np.array([k]))[0])
        scale = np.array([unit] * 3 + [1.0 / DEG_PER_RAD] * 3)
        named = axis_words(program, inputs.machine, line, inch=unit > 1.0)
        new = _cut(program, line, named or [], (moves.start[:, k] / scale, moves.end[:, k] / scale), shares)
        if new is not None:
            out[line] = new
            times[line - 1] += len(shares)
    return joined(program, out), np.repeat(np.arange(1, program.lines + 1), times)


def _cut(
    program: Program, line: int, words: list[tuple[int, int, float]], ends: tuple[Array, Array], shares: Array
) -> bytes | None:
    """Return a block cut at ``shares`` of its way, or ``None`` where it cannot be cut; ``words`` of ``axis_words``."""
    start, end = ends
    if not words or any(abs(value - end[axis]) > NEAR for axis, _, value in words):
        return None
    named = [(axis, i) for axis, i, _ in words]
    raw, lines = program.raw(line), []
    end_of_line = int(program.line_start[line])
    stop = b"\r\n" if program.source[end_of_line - 2 : end_of_line] == b"\r\n" else b"\n"
    spans = {i: word_at(program, i) for _, i in named}
    decimals = max(3, *(len(d.partition(b".")[2]) for _, d in spans.values()))
    whole = [10**decimals * (end[axis] - start[axis]) for axis, _ in named]
    for part, share in enumerate(_exact(shares, whole).tolist()):
        place = start + (end - start) * share
        digits = {i: f"{place[axis]:.{decimals}f}".encode() for axis, i in named}
        if part == 0:
            text = raw
            for _, i in sorted(named, key=lambda x: -spans[x[1]][0][0]):
                (s, e), _ = spans[i]
                text = text[:s] + digits[i] + text[e:]
            lines.append(text)
        else:
            lines.append(b" ".join(AXES[axis].encode() + digits[i] for axis, i in named))
    lines.append(b" ".join(AXES[axis].encode() + spans[i][1] for axis, i in named))
    return stop.join(lines)


def _exact(shares: Array, whole: list[float]) -> Array:
    """Return the ``shares`` moved to places near by that need no rounding; ``whole``: the way in last decimals.

    A place that is rounded is a corner, if a slight one, and the tool takes a corner at the lower of both feeds.
    """
    exact = math.gcd(*(round(x) for x in whole))
    out: Array = np.rint(shares * exact) / exact
    near = np.abs(out - shares) < NEARBY * np.diff(shares, prepend=0.0, append=1.0).min()
    return np.where(near, out, shares)
