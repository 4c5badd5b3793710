"""Feeds with room for schedules at other control periods: finer ones, and as long ones as the path allows.

Averages of the speed are whole ticks, so that a schedule is a little another one at another period. How far the tool
strays from its path between two setpoints goes with the square of the period (remainder of linear interpolation): so
the deviation found says up to which period it is small enough.
"""

from collections.abc import Callable
from math import floor, sqrt

from hexpost.audit.model import AuditResult
from hexpost.refeed.regain import FeedTrial

ROUNDS = 15
"""Most rounds of lowering for other periods."""
LESS, HARDER = 0.98, 3
"""A block that breaks a limit at another period is lowered to this share, after so many rounds twice, and so on."""
ROOM = 0.98
"""Share of the feeds found, and of the longest period, that is kept."""
FINER, MOST_FINE = 20.0, 1_000_000
"""The control period is so many times finer where that is tried, on jobs of so many samples then."""
LONGER = 4.0
"""Most times the control period that are tried."""
STEP = 1e-6
"""Periods are whole microseconds."""
APART = 1.2
"""Periods that are tried are at least so many times each other."""


def with_room(
    feeds: dict[int, float],
    result: AuditResult,
    trial: FeedTrial,
    audit: Callable[[dict[int, float], float], AuditResult],
    period: float,
) -> tuple[dict[int, float], AuditResult, tuple[float, float]]:
    """Return ``feeds`` by line so much lower that schedules at other periods keep the limits, their audit, and periods.

    Tried are periods between the two that are returned, s, by ``audit`` of feeds at a period; ``result`` is that of the
    feeds as they are at ``period``.
    """
    now = {x: trial.rounded(ROOM * f) for x, f in feeds.items()}
    for k in range(ROUNDS):
        found, tried = trial.audit(now), [period]
        bad = trial.broken(found)
        for other in _others(found, period):
            if not bad:
                bad = trial.broken(audit(now, other))
                tried.append(other)
        if not bad:
            return now, found, (min(tried), max(tried))
        less, theirs = LESS ** (1 + k // HARDER), trial.together(bad & now.keys()) or set(now)
        now = {x: trial.rounded(less * f) if x in theirs else f for x, f in now.items()}
    return feeds, result, (period, period)


def _others(found: AuditResult, period: float) -> list[float]:
    """Return the other periods to try, s."""
    stray = max((w.ratio for w in found.worst if w.limit.sampled), default=0.0)
    times = min(ROOM / sqrt(max(stray, (ROOM / LONGER) ** 2)), LONGER)
    finer = [period / FINER] if found.duration * FINER <= MOST_FINE * period else []
    return [*finer, *(floor(period * x / STEP) * STEP for x in (times, sqrt(times)) if x > APART)]
