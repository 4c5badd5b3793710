"""Cut long straight blocks into parts, so that each can have its own feed."""

from collections.abc import Mapping

import numpy as np

from hexpost.arrays import Array
from hexpost.moves.model import FEED_TIP, LINE
from hexpost.pipeline import Inputs
from hexpost.program.model import Program
from hexpost.refeed.feeds import INCH, MM_PER_INCH, UNITS, modal
from hexpost.refeed.text import joined, word_at
from hexpost.units import DEG_PER_RAD

PART_MM = 10.0
"""Length of a part."""
MOST_PARTS = 50
AXES = "XYZABC"
PLAIN = frozenset((*AXES, "F", "N"))
"""Words of a block that can be cut; of G words only ``STRAIGHT``."""
STRAIGHT = frozenset({1.0, 90.0, 94.0})
NEAR = 1e-6
"""A word that says another place than where the move ends (mm, deg) is not an absolute coordinate."""


def split_lines(inputs: Inputs, lowered: Mapping[int, float]) -> tuple[bytes, tuple[int, ...]]:
    """Return the program with long straight blocks among the ``lowered`` ones cut, and their lines.

    Only blocks that run once, say nothing but where to go, and name absolute coordinates. The last part keeps the
    block's own figures; places between are rounded to the program's decimals.
    """
    program, moves = inputs.program, inputs.meaning.moves
    inch = modal(program, UNITS, 0) == INCH
    line, count = np.unique(moves.line, return_counts=True)
    once = dict(zip(line.tolist(), (count == 1).tolist(), strict=True))
    index = dict(zip(moves.line.tolist(), range(moves.count), strict=True))
    out: dict[int, bytes] = {}
    for x in sorted(lowered):
        k = index[x]
        length = float(np.linalg.norm(moves.end[:3, k] - moves.start[:3, k]))
        parts = min(int(length / PART_MM), MOST_PARTS)
        if parts < 2 or not once[x] or moves.kind[k] != LINE or moves.feed_mode[k] != FEED_TIP:
            continue
        scale = np.array([MM_PER_INCH if inch[x - 1] else 1.0] * 3 + [1.0 / DEG_PER_RAD] * 3)
        new = _cut(program, x, moves.start[:, k] / scale, moves.end[:, k] / scale, parts)
        if new is not None:
            out[x] = new
    return joined(program, out), tuple(sorted(out))


def _cut(program: Program, line: int, start: Array, end: Array, parts: int) -> bytes | None:
    """Return a block as ``parts`` lines, or ``None`` where it cannot be cut."""
    a, b = int(program.first[line - 1]), int(program.first[line])
    letters = [chr(x) for x in program.letter[a:b]]
    plain = all(x in PLAIN or (x == "G" and program.value[a + i] in STRAIGHT) for i, x in enumerate(letters))
    named = [(AXES.index(x), a + i) for i, x in enumerate(letters) if x in AXES]
    if not plain or not named or any(abs(float(program.value[i]) - end[axis]) > NEAR for axis, i in named):
        return None
    raw, lines = program.raw(line), []
    stop = b"\r\n" if program.source[int(program.line_start[line - 1]) :].startswith(raw + b"\r\n") else b"\n"
    spans = {i: word_at(program, i) for _, i in named}
    decimals = max(3, *(len(d.partition(b".")[2]) for _, d in spans.values()))
    for part in range(1, parts):
        place = start + (end - start) * (part / parts)
        digits = {i: f"{place[axis]:.{decimals}f}".encode() for axis, i in named}
        if part == 1:
            text = raw
            for _, i in sorted(named, key=lambda x: -spans[x[1]][0][0]):
                (s, e), _ = spans[i]
                text = text[:s] + digits[i] + text[e:]
            lines.append(text)
        else:
            lines.append(b" ".join(AXES[axis].encode() + digits[i] for axis, i in named))
    lines.append(b" ".join(AXES[axis].encode() + spans[i][1] for axis, i in named))
    return stop.join(lines)
