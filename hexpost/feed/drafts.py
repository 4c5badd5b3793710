"""A schedule in the making: bounds and windows, laid on ticks, looked at, lowered until the samples keep the limits."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.feed.correct import Ranges, changed, correct, over_struts
from hexpost.feed.model import Timing, TooLongError
from hexpost.feed.stretches import Stretches, causes, tagged
from hexpost.feed.task import Task
from hexpost.feed.windows import coasting

ROUNDS = 12
"""Most corrections; of the programmed feed a little that is left then stays: the schedule shows an ordinary control."""
LEFT = 1.05
"""That little, as a share of a limit: where more is left, ramps alone are lowered further."""
GENTLE = 3
"""After so many corrections what is still over is lowered twice as hard."""
LAST = 60
"""Most rounds after those: ramps are lowered, or spans that must keep the limits are slowed down as a whole."""
LATE = ROUNDS + LAST // 2
"""After so many corrections all spans are slowed down as a whole where much is left."""
EARLY = 0.25
"""Looks at a span begin so many ticks before it, and end so many after it."""
SLOWER = 1.02
"""Least factor of time by which such a span is slowed down in a round."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draft:
    """Bounds with ramps for the windows (spans,) [ticks]; spans ``closed`` (spans,) have the closed form."""

    st: Stretches
    window: Ints
    closed: Flags

    def seconds(self, period: float) -> Array:
        """Return the windows (spans,) in s."""
        return self.window.astype(np.float64) * period

    def timing(self, task: Task) -> Timing:
        """Return the timing that these bounds give."""
        return task.laid(self.st.solved(self.seconds(task.period)), self.window)

    def grafted(self, other: "Draft", which: Flags) -> "Draft":
        """Return this draft with the spans ``which`` taken from another."""
        return Draft(
            st=self.st.grafted(other.st, which),
            window=np.where(which, other.window, self.window),
            closed=np.where(which, other.closed, self.closed),
        )


def mended(draft: Draft, task: Task, only: Flags | None = None) -> tuple[Draft, Timing]:
    """Return a draft whose samples keep all limits, and its timing; ``only`` (spans,): the others keep them already.

    Corrections lower what made samples too hard; spans in closed form, and those that no correction mends, are slowed
    down as a whole: with time stretched by k, speeds, accelerations and jerks fall by k, k^2, k^3. Spans that are not
    firm keep a little that is left after the corrections; where more is left than that after all rounds, they are
    slowed down, too.

    Raises
    ------
    TooLongError
        It takes more than ``task.most_ticks``.
    """
    now = draft.st.solved(draft.seconds(task.period))
    timing = task.laid(now, draft.window)
    where: Ranges | None = None
    if only is not None:
        begin, end = (x[only].astype(np.float64) for x in (timing.start[:-1], timing.end))
        where = Ranges(lo=begin - EARLY, hi=end + EARLY)
    for k in range(ROUNDS + LAST):
        if timing.ticks > task.most_ticks:
            raise TooLongError(timing.ticks)
        found = correct(draft.st, timing, task.path, task.limits, where, power=power(k), ramps=k >= ROUNDS)
        if found is None:
            break
        bad = found.worst > 1
        whole = bad & task.firm & (draft.closed | (k >= ROUNDS))
        more = ~task.firm & (found.worst > LEFT) & (k >= ROUNDS)
        whole |= more & (k >= LATE)
        if k >= ROUNDS and not (whole | more).any():
            break
        kept = whole | (~more if k >= ROUNDS else False)
        draft = replace(draft, st=found.st.grafted(draft.st, kept) if kept.any() else found.st)
        if whole.any():
            draft = slowed(draft, np.where(whole, np.maximum(found.worst, SLOWER), 1.0), task)
        before, now = now, draft.st.solved(draft.seconds(task.period))
        del timing, found
        timing = task.laid(now, draft.window)
        where = None if whole.any() else changed(before, now, timing)
    return draft, timing


def power(k: int) -> float:
    """Return how hard the correction ``k`` is."""
    return 1.0 if k < GENTLE else 2.0


def slowed(draft: Draft, factor: Array, task: Task) -> Draft:
    """Return a draft whose spans take ``factor`` (spans,) times as long."""
    k = factor[draft.st.span] ** -2
    st = replace(
        draft.st,
        cap=tagged(draft.st.cap * k, causes(draft.st.cap)),
        up=draft.st.up * k,
        down=draft.st.down * k,
    )
    longer = np.ceil(draft.window * factor).astype(np.int64)
    window: Ints = np.where(factor > 1, task.calmed(longer), draft.window)
    again = np.flatnonzero(draft.closed & (factor > 1))
    return replace(draft, st=coasting(st, again, window.astype(np.float64) * task.period), window=window)


def fastest(drafts: list[tuple[Draft, Timing]], task: Task, doubtful: list[tuple[Draft, Timing]]) -> Timing:
    """Return the timing that takes each span from the draft where it is shortest (the first of equals).

    Those of the ``doubtful`` drafts are taken where they keep every limit of the struts, rather than others that are
    as long. The lists are used up: each draft goes when it is no longer needed.
    """
    best, timing = drafts.pop(0)
    now: Timing | None = timing
    taken = timing.end - timing.start[:-1]
    del timing
    while drafts or doubtful:
        sure = bool(drafts)
        draft, other = (drafts or doubtful).pop(0)
        ticks = other.end - other.start[:-1]
        shorter = ticks < taken if sure else ticks <= taken
        if not sure and shorter.any():
            begin, end = (x[shorter].astype(np.float64) for x in (other.start[:-1], other.end))
            where = Ranges(lo=begin - EARLY, hi=end + EARLY)
            shorter &= ~over_struts(other, task.path, task.limits, shorter, where)
        del other
        if shorter.any():
            best, taken, now = best.grafted(draft, shorter), np.minimum(taken, ticks), None
        del draft
    return now or best.timing(task)
