"""Cycle times side by side: as programmed, strut-limited, without limits, at one safe feed for all."""

from dataclasses import replace

import numpy as np

from hexpost.arrays import distinct
from hexpost.audit.model import AuditResult, Law, Limit, Of
from hexpost.moves.model import FEED_RAPID
from hexpost.pipeline import Inputs, Job, examine, schedule
from hexpost.refeed.trials import Watch, unwatched
from hexpost.report.model import CycleTimes, Report

LEAST = 0.01
"""Least share of the programmed feeds that is tried."""
STEPS = 8
"""Bisections for the largest safe share: good to about 2 % of it."""


def compared(
    job: Job, report: Report, watch: Watch = unwatched, *, limited: Job | None = None, workers: int = 1
) -> Report:
    """Return the report of a job as programmed, with the cycle times of the other ways to run it.

    ``watch`` follows each trial of a share; ``limited`` is the strut-limited job, where it is planned already. All is
    planned and judged on so many ``workers``.
    """
    limited = limited or schedule(job.inputs, "strut-limited", workers)
    lost = 0.0 if report.reasons is None else sum(report.reasons.total.values())
    taken = job.timing.ticks * job.timing.period
    share, seconds = safe_share(job.inputs, taken, broken=_breaks(report), watch=watch, workers=workers)
    times = CycleTimes(
        as_programmed=taken,
        strut_limited=limited.timing.ticks * job.timing.period,
        unlimited=taken - lost,
        safe_share=share,
        safe=seconds,
    )
    return replace(report, cycle_times=times)


def safe_share(
    inputs: Inputs, seconds: float, *, broken: bool, watch: Watch = unwatched, workers: int = 1
) -> tuple[float | None, float | None]:
    """Return the largest share of all feeds at which no strut limit breaks, and the seconds the job then takes.

    ``seconds`` it takes at the programmed feeds, ``broken`` whether it breaks one there; ``None`` if no share is safe.
    """
    if not broken:
        return 1.0, seconds
    low, high, best = LEAST, 1.0, None
    share = low
    for _ in range(STEPS + 1):
        job = schedule(_slowed(inputs, share), workers=workers)
        if _strut_findings(examine(job, progress=watch(job.timing.ticks + 1), workers=workers)):
            if share == LEAST:
                return None, None
            high = share
        else:
            low, best = share, job.timing.ticks * job.timing.period
        share = float(np.sqrt(low * high))
    return low, best


def _slowed(inputs: Inputs, share: float) -> Inputs:
    """Return the inputs with all feeds multiplied by a share."""
    moves = inputs.meaning.moves
    feed = np.where(moves.feed_mode == FEED_RAPID, moves.feed, moves.feed * share)
    return replace(inputs, meaning=replace(inputs.meaning, moves=replace(moves, feed=feed)))


def _strut_findings(result: AuditResult) -> bool:
    found = result.findings
    return any(_by_feed(found.limits[k]) for k in distinct(found.limit).tolist())


def _breaks(report: Report) -> bool:
    return any(_by_feed(f.limit) for f in report.findings)


def _by_feed(limit: Limit) -> bool:
    """Return whether a limit is one of the struts that a lower feed keeps."""
    return limit.of is Of.STRUT and limit.law is not Law.NONE
