"""The feeds that an audit advises, tried: what refeed writes, and how much more of them is too much."""

from dataclasses import replace

import numpy as np

from hexpost.arrays import among, distinct
from hexpost.audit.f_words import add_f_words, inverse_time_ways
from hexpost.audit.model import AuditResult, Runs
from hexpost.audit.program_remarks import sentence
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, Moves
from hexpost.pipeline import MOST_ROWS, Job
from hexpost.proving import AS_PROGRAMMED
from hexpost.refeed.search import FoundFeeds, give_up, search
from hexpost.refeed.trials import SpentError, Trials
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE

MOST_TRIED = 1_000_000
"""So many samples are looked through to try feeds, some seconds; the feeds of longer jobs are worked out alone."""
SHARES = (1.05, 1.1, 1.2, 1.4, 2.0, 4.0)
"""So many times the feeds found are tried, to see what is too much."""


def with_tried_feeds(job: Job, result: AuditResult, most: int | None = None) -> AuditResult:
    """Return the audit of a job with advised feeds that were tried, as refeed writes them; by ``most`` samples at most.

    Feeds that cannot be tried stay as they were worked out: those of long jobs, of jobs for proving out, of other
    schedules than that as programmed, and of blocks that refeed leaves alone.
    """
    found = result.findings
    if not (np.isfinite(found.feed) | np.isfinite(found.margin_feed)).any():
        return result
    inputs, runs = job.inputs, found.runs.copy()
    _bound(runs, inputs.meaning.moves, inputs.machine)
    warnings = result.warnings
    plain = np.isfinite(found.feed).any() and job.feed == "as-programmed"
    if plain and job.yaw is None and inputs.proving == AS_PROGRAMMED:
        trials = Trials(replace(inputs, most_rows=MOST_ROWS), MOST_TRIED if most is None else most)
        try:
            feeds = search(trials, trials.audit({}) if inputs.checking.margins else result)
        except SpentError:
            pass
        else:
            _write(runs, trials, feeds)
            others = sorted(feeds.feeds.keys() - set(runs["line"].tolist()))
            said = "needs a lower F, too, once the other advised feeds are written"
            warnings += (sentence(inputs.program, others[0], said, len(others)),) if others else ()
    add_f_words(runs, inputs.meaning, inputs.machine)
    return replace(result, findings=replace(found, runs=runs), warnings=warnings)


def _write(runs: Runs, trials: Trials, found: FoundFeeds) -> None:
    """Write into ``runs`` (m,) the feeds found, and how much more is too much; none where no lower feed was found."""
    old, line = trials.old, runs["line"].astype(np.int64)
    by_feed = np.isfinite(runs["own_feed"]) & among(line, old.line[old.free])
    sure = np.flatnonzero(by_feed & ~give_up(runs, found.after.findings.limits, found))
    lines = distinct(line[sure])
    word = np.array([found.feeds.get(x, trials.first[x]) for x in lines.tolist()])
    room = _rooms(trials, found, lines.tolist())
    at = np.searchsorted(lines, line[sure])
    runs["feed"][sure] = (word / old.per_speed[np.searchsorted(old.line, lines)])[at]
    runs["room"][sure] = np.array([room[x] for x in lines.tolist()])[at]
    runs["tried"][sure] = True


def _rooms(trials: Trials, found: FoundFeeds, lines: list[int]) -> dict[int, float]:
    """Return, by line, with how many times the feeds found (none above the programmed one) it breaks a limit again."""
    out: dict[int, float] = {}
    as_programmed = max((trials.first[x] / f for x, f in found.feeds.items()), default=1.0)
    for share in (x for x in SHARES if x < as_programmed):
        if len(out) == len(lines):
            break
        higher = {x: share * f for x, f in found.feeds.items() if share * f < trials.first[x]}
        try:
            broken = found.broken(trials.audit(higher), trials.old)
        except SpentError:
            break
        out |= dict.fromkeys((broken & set(lines)) - out.keys(), share)
    return dict.fromkeys(lines, as_programmed) | out


def _bound(runs: Runs, moves: Moves, machine: Machine) -> None:
    """Write into ``runs`` (m,) by how much feeds were lowered at most: with so much more they are as programmed.

    A line that runs at a feed and under inverse time counts as the faster of the two.
    """
    advised = np.where(np.isfinite(runs["feed"]), runs["feed"], runs["margin_feed"])
    known = np.isfinite(advised)
    at = np.flatnonzero((moves.feed_mode != FEED_RAPID) & among(moves.line, runs["line"][known]))
    turning, timed = (moves.feed_mode[at] == mode for mode in (FEED_TILT, FEED_INVERSE))
    speed = moves.feed[at] * SECONDS_PER_MINUTE * np.where(turning, DEG_PER_RAD, 1.0)
    most = np.zeros((2, int(runs["line"].max(initial=0)) + 1))
    for row, some in zip(most, (~timed, timed), strict=True):
        np.maximum.at(row, moves.line[at[some]], speed[some])
    line = runs["line"][known]
    of_time = most[1, line] * np.nan_to_num(inverse_time_ways(moves, line, machine))
    share = np.maximum(most[0, line], of_time) / advised[known]
    runs["room"][known] = share.max(initial=1.0)
