"""Give back what lowering took too much: feeds raised again as far as the audit stays as it is.

The advice that feeds are lowered by is safe, not tight: it judges a block by its worst sample alone. Between a feed
that holds and one that breaks, halving the way (in the ratio of the feeds) finds the limit, for all blocks at once.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import sqrt

from hexpost.audit.model import AuditResult

ROUNDS = 7
"""Most halvings: a feed that was lowered to a tenth is then good to about 2 %."""
CLOSE = 1.01
"""It is near enough to a feed that breaks where that is at most so many times it."""
TRIALS = 8
"""Most trials of the feeds found, all together; blocks that then break a limit go back half the way to where they
began, in the second half of the trials all of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedTrial:
    """How feeds are tried: ``audit`` by line, ``broken`` lines that a lower feed would mend, ``rounded`` F words."""

    audit: Callable[[dict[int, float]], AuditResult]
    broken: Callable[[AuditResult], set[int]]
    rounded: Callable[[float], float]
    together: Callable[[set[int]], set[int]] = field(default=set)
    """Lines with all others that have the same feed as one of them."""


def regained(
    low: dict[int, float], high: dict[int, float], result: AuditResult, trial: FeedTrial
) -> tuple[dict[int, float], AuditResult]:
    """Return feeds by line between those that hold (``low``, audited as ``result``) and those that break (``high``)."""
    best, most = dict(low), {x: high[x] for x in low}
    for _ in range(ROUNDS):
        tried = {x: max(best[x], trial.rounded(sqrt(best[x] * most[x]))) for x in best}
        if tried == best or all(most[x] <= CLOSE * best[x] for x in best):
            break
        bad = trial.together(_to_blame(trial.broken(trial.audit(tried)), best))
        best = {x: best[x] if x in bad else tried[x] for x in best}
        most = {x: tried[x] if x in bad else most[x] for x in most}
    for k in range(TRIALS):
        if best == low:
            break
        found = trial.audit(best)
        bad = trial.together(_to_blame(trial.broken(found), best))
        if not bad:
            return best, found
        half = {x: max(low[x], trial.rounded(sqrt(low[x] * best[x]))) if 2 * k < TRIALS else low[x] for x in bad}
        best |= half
    return low, result


def _to_blame(broken: set[int], raised: dict[int, float]) -> set[int]:
    """Return the raised lines that broken lines may be due to: themselves, or the nearest before and behind."""
    lines = sorted(raised)
    out = broken & raised.keys()
    for line in broken - raised.keys():
        before = [x for x in lines if x < line]
        behind = [x for x in lines if x > line]
        out |= {*before[-1:], *behind[:1]}
    return out
