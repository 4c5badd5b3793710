"""A rule of a policy: feeds that must not be passed in some lines, for a clamp or for a thin wall."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.band import Context
from hexpost.audit.breaches import Breaches
from hexpost.audit.limits import FEED_CAP
from hexpost.errors import Fault, InputError
from hexpost.kinematics.travel import travel
from hexpost.machine.feed_caps import FeedCap
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, Moves
from hexpost.shelf import windows
from hexpost.units import SECONDS_PER_MINUTE

SAME = 1e-9
"""Rounding, as a share of a feed."""


@dataclass(frozen=True, slots=True)
class FeedCapRule:
    """Finds the blocks that are programmed faster than ``caps`` allow, the fastest move of each."""

    caps: tuple[FeedCap, ...]

    def __call__(self, context: Context) -> Breaches:
        """Return them; the first move stands for a block.

        Raises
        ------
        InputError
            There is no feed move in the lines of a cap: they are not those of this program any more.
        """
        moves, met = context.moves, np.zeros(len(self.caps), dtype=bool)
        at, peak, allowed = [], [], []
        for part in windows(moves.count):
            speed, most = _tip_feed(moves, part) * SECONDS_PER_MINUTE, np.full(part.stop - part.start, np.inf)
            for k, cap in enumerate(self.caps):
                inside = (moves.line[part] >= cap.first) & (moves.line[part] <= cap.last) & (speed > 0.0)
                met[k] |= bool(inside.any())
                most[inside] = np.minimum(most[inside], cap.feed * SECONDS_PER_MINUTE)
            over = np.flatnonzero(speed > most * (1.0 + SAME))
            at.append(part.start + over)
            peak.append(speed[over])
            allowed.append(most[over])
        if not met.all():
            cap = self.caps[int(np.argmin(met))]
            what, hint = f"no feed move in these lines (at_most of the policy: {cap.text})", "have lines been added?"
            raise InputError(
                [Fault(file=context.program.name, line=cap.first, what=what, code="cap-of-nothing", hint=hint)]
            )
        first, top, bound = np.concatenate(at), np.concatenate(peak), np.concatenate(allowed)
        return Breaches(limit=FEED_CAP.name, first=first, last=first, peak=top, allowed=bound, ratio=top / bound)


def _tip_feed(moves: Moves, part: slice) -> Array:
    """Return the programmed feed of the tip in some moves (n,), mm/s; 0 in rapids and pure rotations."""
    a, b = (int(k) for k in np.searchsorted(moves.arcs.move, (part.start, part.stop)))
    ends, arcs = (moves.start[:3, part], moves.end[:3, part]), moves.arcs
    way = travel(ends, arcs.move[a:b] - part.start, arcs.centre[:, a:b], arcs.axis[a:b], arcs.turn[a:b])
    mode, feed = moves.feed_mode[part], moves.feed[part]
    out: Array = np.where(mode == FEED_INVERSE, feed * way, feed)
    return np.where((mode == FEED_RAPID) | (mode == FEED_TILT) | (way == 0.0), 0.0, out)
