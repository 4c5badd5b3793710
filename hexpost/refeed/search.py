"""The feeds that are advised: low enough that nothing is left which a lower feed would mend, and not much lower."""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from math import inf, isfinite
from types import MappingProxyType

import numpy as np

from hexpost.arrays import Flags, among
from hexpost.audit.model import RAMP, AuditResult, Law, Limits, Runs
from hexpost.refeed.feeds import LineFeeds
from hexpost.refeed.operations import ALONE, Groups, constant, together
from hexpost.refeed.regain import FeedTrial, regained
from hexpost.refeed.room import with_room
from hexpost.refeed.trials import SpentError, Trials

ROUNDS = 15
"""Most rounds of lowering; a block that still breaks a limit then is one that feed does not mend."""
LESS = 0.98
"""A block that is still over its limit is lowered at least to this share."""
STEP = 0.5
"""Where starts and stops have a part in it, the feed worked out is often far too low: a block is lowered by steps."""
LEAST = 1e-3
"""Share of its feed below which lowering a block is given up."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundFeeds:
    """Feeds by line as F words, the audit with them, and the control periods between which they were tried, s.

    ``beyond``: lines and limits that no lower feed was found to mend.
    """

    feeds: dict[int, float]
    after: AuditResult
    periods: tuple[float, float]
    beyond: set[tuple[int, int]]

    def broken(self, found: AuditResult, old: LineFeeds) -> set[int]:
        """Return the lines of an audit that break a limit which lower feeds mend."""
        return set(_advised(found, old, self.beyond))


def search(trials: Trials, result: AuditResult, of: Groups = ALONE) -> FoundFeeds:
    """Return the feeds to which a program audited as ``result`` is to be lowered.

    Where a limit of a block breaks whatever the feed (a ramp too steep at any), the block is not slowed down for it.
    ``of``: lines that keep one feed together.

    Raises
    ------
    SpentError
        There are not enough trials left to lower them; to raise them again, as many are made as there are.
    """
    first, old = trials.first, trials.old
    high, new = dict(first), dict[int, float]()
    beyond: set[tuple[int, int]] = set()
    for k in range(3 * ROUNDS):
        found = _beyond(result) - beyond
        beyond |= found
        wanted = _advised(result, old, beyond, new)
        lost = {x for x, f in wanted.items() if k % ROUNDS == ROUNDS - 1 or new.get(x, first[x]) < LEAST * first[x]}
        beyond |= {(x, limit) for x in lost for limit in range(len(result.findings.limits))}
        again_from_start = (lost | {x for x, _ in found}) & new.keys()
        if not wanted and not again_from_start:
            break
        high |= {x: new.get(x, first[x]) for x in wanted} | {x: first[x] for x in again_from_start}
        high = constant(high, of)
        new |= {x: trials.rounded(min(f, LESS * high[x])) for x, f in wanted.items()}
        new = constant({x: f for x, f in new.items() if x not in again_from_start and x not in lost}, of)
        result = trials.audit(new)
    trial = FeedTrial(
        audit=trials.audit,
        broken=lambda found: set(_advised(found, old, beyond)) | {x for x, _ in _beyond(found) - beyond},
        rounded=trials.rounded,
        together=lambda lines: together(lines, of),
    )
    periods = (trials.period,) * 2
    with suppress(SpentError):  # what has been found by then holds
        if new:
            new, result = regained(new, high, result, trial)
            new, result, periods = with_room(new, result, trial, trials.audit, trials.period)
    return FoundFeeds(feeds=new, after=result, periods=periods, beyond=beyond)


def _beyond(result: AuditResult) -> set[tuple[int, int]]:
    """Return the lines and limits that a lower feed does not mend."""
    found = result.findings
    at = np.flatnonzero(np.isnan(found.own_feed))
    return set(zip(found.line[at].tolist(), found.limit[at].tolist(), strict=True))


def _advised(
    result: AuditResult, old: LineFeeds, beyond: set[tuple[int, int]], now: Mapping[int, float] = MappingProxyType({})
) -> dict[int, float]:
    """Return the least advised feed, as an F word, of each line that may be lowered, limits ``beyond`` left out.

    ``now`` are the feeds of the audit by line, where they are not the program's own.
    """
    found, out = result.findings, dict[int, float]()
    place = {line: k for k, line in enumerate(old.line.tolist()) if old.free[k]}
    for line, limit, feed in zip(found.line.tolist(), found.limit.tolist(), found.own_feed.tolist(), strict=True):
        if isfinite(feed) and line in place and (line, limit) not in beyond:
            word = feed * float(old.per_speed[place[line]])
            if found.limits[limit].law in (Law.SECOND, Law.THIRD):
                word = max(word, STEP * now.get(line, float(old.feed[place[line]])))
            out[line] = min(out.get(line, inf), word)
    return out


def unmended(result: AuditResult, found: FoundFeeds) -> AuditResult:
    """Return an audit that advises no feed where none was found."""
    runs = result.findings.runs.copy()
    give_up(runs, result.findings.limits, found)
    return replace(result, findings=replace(result.findings, runs=runs))


def give_up(runs: Runs, limits: Limits, found: FoundFeeds) -> Flags:
    """Write into ``runs`` (m,) that no feed mends what none was found for; return which runs that are."""
    beyond = np.array([x * len(limits) + y for x, y in found.beyond], dtype=np.int64)
    given_up = among(runs["line"].astype(np.int64) * len(limits) + runs["limit"], beyond)
    never = given_up & np.array([bool(limits[k].advice.ramp) for k in runs["limit"]], dtype=bool)
    never &= np.isfinite(runs["feed"])
    runs["feed"][never], runs["room"][never], runs["case"][never] = np.nan, np.nan, RAMP
    return given_up
