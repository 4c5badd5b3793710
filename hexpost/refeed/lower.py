"""Lower the feeds of a program until its audit finds nothing that a lower feed would mend."""

import hashlib
from collections.abc import Callable
from dataclasses import replace
from math import inf, isfinite

import numpy as np

from hexpost.arrays import Ints
from hexpost.audit.model import AuditResult
from hexpost.machine.model import Machine
from hexpost.pipeline import Inputs, Progress, examine, parse, schedule, understand
from hexpost.refeed.cuts import PAYS_S
from hexpost.refeed.feeds import LineFeeds, feeds_of
from hexpost.refeed.model import FeedChange, Refed
from hexpost.refeed.regain import FeedTrial, regained
from hexpost.refeed.room import with_room
from hexpost.refeed.split import split_lines
from hexpost.refeed.text import FeedStyle, headed, joined, rewritten

ROUNDS = 15
"""Most rounds of lowering; a block that still breaks a limit then is one that feed does not mend."""
LESS = 0.98
"""A block that is still over its limit is lowered at least to this share."""
SPLITS = 2
"""Trials of cuts; in the second, only blocks that gained by them in the first are cut."""
LEAST = 1e-3
"""Share of its feed below which lowering a block is given up."""

Lowered = tuple[dict[int, float], AuditResult, tuple[float, float]]
"""Feeds by line, the audit with them, and the shortest and the longest control period at which they were tried, s."""


Watch = Callable[[int], Progress | None]
"""Is told how many samples the next trial has; returns what counts them."""


def _unwatched(_: int) -> None:
    """Show no progress."""


def refeed(inputs: Inputs, *, split: bool = False, watch: Watch = _unwatched) -> Refed:
    """Return the program with feeds lowered so that, as programmed, no block that feed can mend breaks a strut limit.

    Where nothing has to change the result is the old program, so that refeeding a result changes nothing.
    ``split`` cuts long straight blocks whose feed must be lowered, where the parts with feeds of their own save time.
    ``watch`` follows each trial.
    """
    before = _audited(inputs, watch)
    lowered, after, periods = _lowered(inputs, before, watch)
    old_lines = np.arange(1, inputs.program.lines + 1)
    if split and lowered:
        inputs, (lowered, after, periods), old_lines = _split(inputs, (lowered, after, periods), watch)
    source, fed = _written(inputs, lowered)
    new_lines = np.arange(1, len(old_lines) + 1)
    if lowered:
        source, new_lines = headed(source, _comment(inputs))
    changes = [
        FeedChange(old_line=int(old_lines[x - 1]), line=int(new_lines[x - 1]), before=old, now=new)
        for x, old, new in fed
    ]
    cut = np.flatnonzero(np.bincount(old_lines) > 1)
    return Refed(
        source=source,
        changes=tuple(changes),
        split=tuple(cut.tolist()),
        before=before,
        after=after,
        alone=_alone(inputs, after, old_lines),
        old_lines=old_lines,
        new_lines=new_lines,
        periods=periods,
    )


def _split(inputs: Inputs, whole: Lowered, watch: Watch) -> tuple[Inputs, Lowered, Ints]:
    """Return inputs, lowered feeds and audit with long blocks cut where that pays, and the old line of each new one."""
    best = inputs, whole, np.arange(1, inputs.program.lines + 1)
    lines = sorted(whole[0])
    for _ in range(SPLITS):
        source, parts = split_lines(inputs, lines)
        if len(parts) == len(best[2]):
            break
        other = again(inputs, source)
        slower = _lowered(other, _audited(other, watch), watch)
        if _pays(best[1][1], slower[1], len(parts) - len(best[2])):
            best = other, slower, parts
        fed = _feeds(other, slower[0]).items()
        gained = {int(parts[x - 1]) for x, f in fed if f > whole[0].get(parts[x - 1], inf)}
        if gained.issuperset(lines):
            break
        lines = sorted(gained.intersection(lines))
    return best


def _feeds(inputs: Inputs, lowered: dict[int, float]) -> dict[int, float]:
    """Return the feed of every line that moves, as an F word."""
    old = feeds_of(inputs.meaning)
    return dict(zip(old.line.tolist(), old.feed.tolist(), strict=True)) | lowered


def _pays(whole: AuditResult, split: AuditResult, parts: int) -> bool:
    """Return whether a program with so many ``parts`` more (or less) is enough faster, and breaks no more limits."""
    left = [x.total for x in (whole, split)]
    return left[1] <= left[0] and whole.duration - split.duration >= PAYS_S * parts


def again(inputs: Inputs, source: bytes) -> Inputs:
    """Return the inputs with another program, read and understood anew."""
    program = parse(source, inputs.program.name)
    found = understand(program, inputs.machine, inputs.tools, inputs.setup)
    return replace(found, checking=inputs.checking)


def _audited(inputs: Inputs, watch: Watch) -> AuditResult:
    """Return the audit of a program as programmed."""
    job = schedule(inputs)
    return examine(job, progress=watch(job.timing.ticks + 1))


def _lowered(inputs: Inputs, result: AuditResult, watch: Watch) -> Lowered:
    """Return the lowered feeds by line, the audit of the program with them, and at which control periods it was tried.

    Where a limit of a block breaks whatever the feed (a ramp too steep at any), the block is not slowed down for it.
    """
    style, old = _style(inputs), feeds_of(inputs.meaning)
    first = _feeds(inputs, {})
    new: dict[int, float] = {}
    beyond: set[tuple[int, int]] = set()
    for k in range(3 * ROUNDS):
        found = _beyond(result) - beyond
        beyond |= found
        wanted = _advised(result, old, beyond)
        lost = {x for x, f in wanted.items() if k % ROUNDS == ROUNDS - 1 or new.get(x, first[x]) < LEAST * first[x]}
        beyond |= {(x, limit) for x in lost for limit in range(len(result.findings.limits))}
        again_from_start = (lost | {x for x, _ in found}) & new.keys()
        if not wanted and not again_from_start:
            break
        new |= {x: style.rounded(min(f, LESS * new.get(x, first[x]))) for x, f in wanted.items()}
        new = {x: f for x, f in new.items() if x not in again_from_start and x not in lost}
        result = _audited(_fed(inputs, new), watch)

    def audit(feeds: dict[int, float], period: float = inputs.machine.period) -> AuditResult:
        other = replace(inputs, machine=replace(inputs.machine, period=period))
        return _audited(_fed(other, feeds), watch)

    trial = FeedTrial(
        audit=audit,
        broken=lambda found: set(_advised(found, old, beyond)) | {x for x, _ in _beyond(found) - beyond},
        rounded=style.rounded,
    )
    if not new:
        return new, result, (inputs.machine.period,) * 2
    return with_room(*regained(new, first, result, trial), trial, audit, inputs.machine.period)


def _beyond(result: AuditResult) -> set[tuple[int, int]]:
    """Return the lines and limits that a lower feed does not mend."""
    found = result.findings
    at = np.flatnonzero(np.isnan(found.own_feed))
    return set(zip(found.line[at].tolist(), found.limit[at].tolist(), strict=True))


def _advised(result: AuditResult, old: LineFeeds, beyond: set[tuple[int, int]]) -> dict[int, float]:
    """Return the least advised feed, as an F word, of each line that may be lowered, limits ``beyond`` left out."""
    found, out = result.findings, dict[int, float]()
    place = {line: k for k, line in enumerate(old.line.tolist()) if old.free[k]}
    for line, limit, feed in zip(found.line.tolist(), found.limit.tolist(), found.own_feed.tolist(), strict=True):
        if isfinite(feed) and line in place and (line, limit) not in beyond:
            out[line] = min(out.get(line, inf), feed * float(old.per_speed[place[line]]))
    return out


def _alone(inputs: Inputs, after: AuditResult, old_lines: Ints) -> tuple[int, ...]:
    """Return the old lines that a lower feed would mend, and whose runs need different F words."""
    old, found = feeds_of(inputs.meaning), after.findings
    lines = np.intersect1d(found.line[np.isfinite(found.feed)], old.line[old.mixed])
    return tuple(np.unique(old_lines[lines - 1]).tolist())


def _fed(inputs: Inputs, feeds: dict[int, float]) -> Inputs:
    """Return the inputs with other feeds by line."""
    program = inputs.program
    return again(inputs, joined(program, rewritten(program, feeds_of(inputs.meaning), feeds, _style(inputs))))


def _written(inputs: Inputs, new: dict[int, float]) -> tuple[bytes, list[tuple[int, float, float]]]:
    """Return the program with the new feeds, and the lines with a lower one: feed before and now."""
    program = inputs.program
    if not new:
        return program.source[:], []
    source = joined(program, rewritten(program, feeds_of(inputs.meaning), new, _style(inputs)))
    first = _feeds(inputs, {})
    return source, [(x, first[x], new[x]) for x in sorted(new)]


def _style(inputs: Inputs) -> FeedStyle:
    return FeedStyle(inputs.program, implied=inputs.machine.words.numbers == "implied")


def _comment(inputs: Inputs) -> str:
    """Return the head comment: from what, for which machine; no date, so that the same input gives the same bytes."""
    digest = hashlib.sha256(inputs.program.source).hexdigest()[:12]
    name = inputs.program.name.replace("\\", "/").rsplit("/", 1)[-1]
    return f"FROM {name} SHA-256 {digest} FOR {_machine(inputs.machine)}".upper()


def _machine(machine: Machine) -> str:
    return f"MACHINE {machine.name}, REVISION {machine.revision}"
