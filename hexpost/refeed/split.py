"""Cut long straight blocks into parts, so that each can have its own feed."""

import math

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.pipeline import Inputs
from hexpost.program.model import Program
from hexpost.refeed.cuts import cuts
from hexpost.refeed.feeds import INCH, MM_PER_INCH, UNITS, modal
from hexpost.refeed.text import joined, word_at
from hexpost.units import DEG_PER_RAD

AXES = "XYZABC"
PLAIN = frozenset((*AXES, "F", "N"))
"""Words of a block that can be cut; of G words only ``STRAIGHT``."""
STRAIGHT = frozenset({1.0, 90.0, 94.0})
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
    inch = modal(program, UNITS, 0) == INCH
    out: dict[int, bytes] = {}
    times = np.ones(program.lines, dtype=np.int64)
    for k, shares in cuts(inputs, lines).items():
        line = int(moves.line[k])
        scale = np.array([MM_PER_INCH if inch[line - 1] else 1.0] * 3 + [1.0 / DEG_PER_RAD] * 3)
        new = _cut(program, line, moves.start[:, k] / scale, moves.end[:, k] / scale, shares)
        if new is not None:
            out[line] = new
            times[line - 1] += len(shares)
    return joined(program, out), np.repeat(np.arange(1, program.lines + 1), times)


def _cut(program: Program, line: int, start: Array, end: Array, shares: Array) -> bytes | None:
    """Return a block cut at ``shares`` of its way, or ``None`` where it cannot be cut."""
    a, b = int(program.first[line - 1]), int(program.first[line])
    letters = [chr(x) for x in program.letter[a:b]]
    plain = all(x in PLAIN or (x == "G" and program.value[a + i] in STRAIGHT) for i, x in enumerate(letters))
    named = [(AXES.index(x), a + i) for i, x in enumerate(letters) if x in AXES]
    if not plain or not named or any(abs(float(program.value[i]) - end[axis]) > NEAR for axis, i in named):
        return None
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
