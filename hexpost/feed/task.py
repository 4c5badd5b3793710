"""What is to be planned: a portion of the path, its limits, and its stretches with all bounds but the corrections."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.feed.bounds import TINY, Caps, as_programmed, parts, shares, speed_caps
from hexpost.feed.calm import calm_periods, calmed
from hexpost.feed.model import Timing
from hexpost.feed.ramps import Rests, lay
from hexpost.feed.stretches import Speeds, Stretches
from hexpost.feed.struts import CURVATURE_MOST, CURVATURE_SHARE, bounded, strut_limits
from hexpost.feed.weigh import PlanLimits
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.path.model import ToolPath

AS_PROGRAMMED, STRUT_LIMITED = MODES = ("as-programmed", "strut-limited")
"""Ways to plan: what an ordinary control would run; the fastest motion that keeps the limits of the struts, too."""
SMALL = 20_000
"""With at most so many stretches several windows are corrected to the end, and each span takes its best."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Task:
    """What does not change while a schedule is made; ``firm`` (spans,): must keep every limit at every sample.

    ``caps``: the speeds of pieces by feed and speed limits. A draft that takes more than ``most_ticks`` is given up,
    for nobody will run it.
    """

    path: ToolPath
    limits: PlanLimits
    rests: Rests
    period: float
    firm: Flags
    caps: Caps
    most_ticks: float = np.inf
    calm: Array | None = None
    """Periods (spans,) that windows are rounded up to, s; ``None``: they are not."""

    @property
    def programmed(self) -> Array:
        """Return the speed along each piece (p,) by the programmed feed alone."""
        return self.caps.programmed

    def calmed(self, window: Ints) -> Ints:
        """Return windows (spans,) [ticks], rounded up where that is asked for."""
        return calmed(window, self.calm, self.period)

    def laid(self, speeds: Speeds, window: Ints) -> Timing:
        """Return speeds laid on ticks, averaged over windows (spans,) [ticks]."""
        return lay(speeds, window, self.rests, self.period, self.programmed)


def task_of(
    path: ToolPath, moves: Moves, machine: Machine, mode: str, rests: Rests, *, small: int = SMALL
) -> tuple[Task, Stretches, Array]:
    """Return what is to be planned, the stretches of all pieces with their bounds, and the norms of the pieces.

    At most ``small`` stretches will be tried with several windows.
    """
    norms = path.norms_max()
    struts = strut_limits(path, moves, machine, rapids_only=mode != STRUT_LIMITED)
    tip, caps = machine.tool_tip, speed_caps(path, moves, machine.tool_tip, norms)
    st, clear = as_programmed(caps, path, tip, norms), shares(caps, tip, norms)
    st = st.divided(parts(path, norms, struts.aim > 0, st))
    if struts.aim.any():
        curvature = CURVATURE_MOST if len(st.span) <= small else CURVATURE_SHARE
        st, clear = bounded(st, clear, path, norms, struts, curvature=curvature)
    task = Task(
        path=path,
        limits=PlanLimits(shares=clear, struts=struts),
        rests=rests,
        period=machine.period,
        firm=struts.aim[path.span_first[:-1]] > 0,
        caps=caps,
        calm=calm_periods(path, moves, machine),
    )
    return task, st, norms


def seconds_at(path: ToolPath, speed: Array) -> Array:
    """Return the time (p,) that pieces take at a steady ``speed`` (p,) along the path."""
    return path.size / np.maximum(speed, TINY)
