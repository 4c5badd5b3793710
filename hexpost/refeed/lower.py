"""Lower the feeds of a program until its audit finds nothing that a lower feed would mend."""

import hashlib
from dataclasses import replace
from math import inf

import numpy as np

from hexpost.arrays import Ints, distinct
from hexpost.audit.model import AuditResult
from hexpost.machine.feed_caps import FeedCap
from hexpost.machine.model import Machine
from hexpost.pipeline import Inputs, examine, parse, schedule, understand
from hexpost.refeed.cuts import PAYS_S
from hexpost.refeed.feeds import feeds_of
from hexpost.refeed.held import held
from hexpost.refeed.model import FeedChange, Refed
from hexpost.refeed.operations import ALONE, Groups, groups
from hexpost.refeed.search import search, unmended
from hexpost.refeed.split import split_lines
from hexpost.refeed.text import headed, joined, rewritten, style_of
from hexpost.refeed.trials import Trials, Watch, first_feeds, unwatched

SPLITS = 2
"""Trials of cuts; in the second, only blocks that gained by them in the first are cut."""

Lowered = tuple[dict[int, float], AuditResult, tuple[float, float]]
"""Feeds by line, the audit with them, and the shortest and the longest control period at which they were tried, s."""


def refeed(
    inputs: Inputs,
    *,
    split: bool = False,
    constant_feed: bool = False,
    at_most: tuple[FeedCap, ...] = (),
    watch: Watch = unwatched,
) -> Refed:
    """Return the program with feeds lowered so that, as programmed, no block that feed can mend breaks a strut limit.

    Where nothing has to change the result is the old program, so that refeeding a result changes nothing.
    ``split`` cuts long straight blocks whose feed must be lowered, where the parts with feeds of their own save time.
    ``constant_feed``: lines of an operation with the same F keep the same one. ``at_most``: feeds that are not passed.
    ``watch`` follows each trial.

    Raises
    ------
    InputError
        A feed cannot be held in the lines of a cap.
    """
    first, whole, before = first_feeds(inputs.meaning), inputs, _audited(inputs, watch)
    rounded = style_of(inputs.program, inputs.machine).rounded
    slow = {x: rounded(f) for x, f in held(inputs, at_most).items()}
    inputs = _fed(inputs, slow) if slow else inputs
    of = groups(inputs.meaning, feeds_of(inputs.meaning)) if constant_feed else {}
    lowered, after, periods = _lowered(inputs, _audited(inputs, watch) if slow else before, watch, of)
    old_lines = np.arange(1, inputs.program.lines + 1)
    if split and lowered:
        inputs, (lowered, after, periods), old_lines = _split(inputs, (lowered, after, periods), watch)
    source, new_lines = _rewritten(inputs, lowered), np.arange(1, len(old_lines) + 1)
    if lowered or slow:
        source, new_lines = headed(source, _comment(whole))
    now = first_feeds(inputs.meaning) | lowered
    changes = [
        FeedChange(old_line=old, line=int(new_lines[x - 1]), before=first[old], now=now[x])
        for x, old in ((x, int(old_lines[x - 1])) for x in sorted(now))
        if x in lowered or old in slow
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
        fed = (first_feeds(other.meaning) | slower[0]).items()
        gained = {int(parts[x - 1]) for x, f in fed if f > whole[0].get(parts[x - 1], inf)}
        if gained.issuperset(lines):
            break
        lines = sorted(gained.intersection(lines))
    return best


def _lowered(inputs: Inputs, result: AuditResult, watch: Watch, of: Groups = ALONE) -> Lowered:
    """Return the lowered feeds by line, and the audit of the program with them written in.

    ``of``: lines that keep one feed together.
    """
    found = search(Trials(inputs, watch=watch), result, of)
    after = _audited(_fed(inputs, found.feeds), watch) if found.feeds else found.after
    return found.feeds, unmended(after, found), found.periods


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


def _alone(inputs: Inputs, after: AuditResult, old_lines: Ints) -> tuple[int, ...]:
    """Return the old lines that a lower feed would mend, and whose runs need different F words."""
    old, found = feeds_of(inputs.meaning), after.findings
    lines = np.intersect1d(found.line[np.isfinite(found.feed)], old.line[old.mixed])
    return tuple(distinct(old_lines[lines - 1]).tolist())


def _fed(inputs: Inputs, feeds: dict[int, float]) -> Inputs:
    """Return the inputs with other feeds by line."""
    return again(inputs, _rewritten(inputs, feeds))


def _rewritten(inputs: Inputs, feeds: dict[int, float]) -> bytes:
    """Return the program with other feeds by line."""
    if not feeds:
        return inputs.program.source[:]
    program, style = inputs.program, style_of(inputs.program, inputs.machine)
    return joined(program, rewritten(program, feeds_of(inputs.meaning), feeds, style))


def _comment(inputs: Inputs) -> str:
    """Return the head comment: from what, for which machine; no date, so that the same input gives the same bytes."""
    digest = hashlib.sha256(inputs.program.source).hexdigest()[:12]
    name = inputs.program.name.replace("\\", "/").rsplit("/", 1)[-1]
    return f"FROM {name} SHA-256 {digest} FOR {_machine(inputs.machine)}".upper()


def _machine(machine: Machine) -> str:
    return f"MACHINE {machine.name}, REVISION {machine.revision}"
