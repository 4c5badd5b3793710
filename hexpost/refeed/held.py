"""F words that keep the tip in some lines at most at the feeds that are asked for."""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import among, distinct
from hexpost.errors import Fault, InputError
from hexpost.machine.feed_caps import FeedCap
from hexpost.moves.model import FEED_RAPID, Switches
from hexpost.pipeline import Inputs, understand
from hexpost.refeed.feeds import feeds_of

SAME = 1e-9
"""A feed that is over its cap by this share is at it: rounding."""


def held(inputs: Inputs, caps: Sequence[FeedCap]) -> dict[int, float]:
    """Return the F words to write, by line, so that no feed move of the lines of ``caps`` is faster.

    Raises
    ------
    InputError
        A cap has no feed move, or is for a tap or for a feed that is not one a minute, which refeed leaves alone.
    """
    if not caps:
        return {}
    given = (inputs.program, inputs.machine, inputs.tools, inputs.setup)
    slow = understand(*given, switches=Switches(at_most=tuple(caps))).meaning.moves
    moves, old = inputs.meaning.moves, feeds_of(inputs.meaning)
    fed = np.flatnonzero(moves.feed_mode != FEED_RAPID)
    share = slow.feed[fed] / moves.feed[fed]
    at, share = fed[share < 1.0 - SAME], share[share < 1.0 - SAME]
    word, line = inputs.meaning.written.feed.at(at) * share, moves.line[at]
    fixed = distinct(line[~among(line, old.line[old.free])]).tolist()
    if fixed:
        what, hint = "must be slower, and its F is none a minute", "write it under G94, or lower its F by hand"
        name = inputs.program.name
        raise InputError([Fault(file=name, line=x, what=what, code="cap-not-written", hint=hint) for x in fixed])
    lines, back = np.unique(line, return_inverse=True)
    least = np.full(len(lines), np.inf)
    np.minimum.at(least, back, word)
    return dict(zip(lines.tolist(), least.tolist(), strict=True))
