"""A program planned and audited with feeds of one's own, at any control period."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from math import inf

import numpy as np

from hexpost.arrays import among
from hexpost.audit.model import AuditResult
from hexpost.errors import HexpostError, InputError
from hexpost.moves.model import FEED_RAPID, Interpretation
from hexpost.pipeline import Inputs, Progress, examine, schedule
from hexpost.refeed.feeds import feeds_of
from hexpost.refeed.text import style_of

PLANNED = 8
"""A move takes as long to plan as so many samples to look through; measured."""


Watch = Callable[[int], Progress | None]
"""Is told how many samples the next trial has; returns what counts them."""


def unwatched(_: int) -> None:
    """Show no progress."""


class SpentError(HexpostError):
    """There were more trials than were allowed."""


class Trials:
    """Audits of one program with other feeds; ``old`` are its own, ``rounded`` makes F words as it writes them.

    ``most``: so many samples may be looked through in all. ``watch`` follows each trial. Margins are left out.
    """

    def __init__(self, inputs: Inputs, most: float = inf, watch: Watch = unwatched) -> None:
        self.inputs = replace(inputs, checking=replace(inputs.checking, margins=()))
        self.old = feeds_of(inputs.meaning)
        self.first = first_feeds(inputs.meaning)
        self.rounded = style_of(inputs.program, inputs.machine).rounded
        self.period = inputs.machine.period
        self._left, self._watch = most, watch

    def audit(self, feeds: Mapping[int, float], period: float | None = None) -> AuditResult:
        """Return the audit with ``feeds`` [F words] by line, at a control period, s.

        Raises
        ------
        SpentError
            It would take more samples than are left.
        """
        inputs = self._fed(feeds, period or self.period)
        self._left -= PLANNED * inputs.meaning.moves.count
        short = self._left < inputs.most_rows
        try:
            job = schedule(replace(inputs, most_rows=max(int(self._left), 1)) if short else inputs)
        except InputError:
            if short:
                raise SpentError("more trials than are allowed") from None
            raise
        self._left -= job.timing.ticks
        return examine(job, progress=self._watch(job.timing.ticks + 1))

    def _fed(self, feeds: Mapping[int, float], period: float) -> Inputs:
        """Return the inputs with ``feeds`` of lines that may be lowered, as if their F words were others."""
        moves = self.inputs.meaning.moves
        lines = np.array(sorted(feeds), dtype=np.int64)
        at = np.flatnonzero(among(moves.line, lines) & (moves.feed_mode != FEED_RAPID))
        word = np.array([feeds[x] for x in lines.tolist()])[np.searchsorted(lines, moves.line[at])]
        feed = np.array(moves.feed)
        feed[at] *= word / self.inputs.meaning.written.feed.at(at)
        meaning = replace(self.inputs.meaning, moves=replace(moves, feed=feed))
        return replace(self.inputs, meaning=meaning, machine=replace(self.inputs.machine, period=period))


def first_feeds(meaning: Interpretation) -> dict[int, float]:
    """Return the feed of every line that moves, as an F word."""
    old = feeds_of(meaning)
    return dict(zip(old.line.tolist(), old.feed.tolist(), strict=True))
