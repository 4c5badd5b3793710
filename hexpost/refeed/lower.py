"""Lower the feeds of a program until its audit finds nothing that a lower feed would mend."""

import hashlib
from math import inf, isfinite

import numpy as np

from hexpost.audit.model import LIMITS, AuditResult
from hexpost.machine.model import Machine
from hexpost.pipeline import Inputs, examine, parse, schedule, understand
from hexpost.refeed.feeds import Feeds, feeds_of
from hexpost.refeed.model import Change, Refed
from hexpost.refeed.regain import Trial, regained
from hexpost.refeed.split import split_lines
from hexpost.refeed.text import FeedStyle, headed, joined, rewritten

ROUNDS = 15
"""Most rounds of lowering; a block that still breaks a limit then is one that feed does not mend."""
LESS = 0.98
"""A block that is still over its limit is lowered at least to this share."""
LEAST = 1e-3
"""Share of its feed below which lowering a block is given up."""


def refeed(inputs: Inputs, *, split: bool = False) -> Refed:
    """Return the program with feeds lowered so that, as programmed, no block that feed can mend breaks a strut limit.

    Where nothing has to change the result is the old program, so that refeeding a result changes nothing.
    ``split`` cuts long straight blocks whose feed must be lowered, so that only a part of them is slow.
    """
    before = examine(schedule(inputs))
    lowered, after = _lowered(inputs, before)
    cut: tuple[int, ...] = ()
    if split and lowered:
        source, cut = split_lines(inputs, lowered)
        if cut:
            inputs = again(inputs, source)
            lowered, after = _lowered(inputs, examine(schedule(inputs)))
    source, changes = _written(inputs, lowered)
    if changes or cut:
        source = headed(source, _comment(inputs))
    return Refed(source=source, changes=changes, split=cut, before=before, after=after)


def again(inputs: Inputs, source: bytes) -> Inputs:
    """Return the inputs with another program, read and understood anew."""
    program = parse(source, inputs.program.name)
    return understand(program, inputs.machine, inputs.tools, inputs.setup)


def _lowered(inputs: Inputs, result: AuditResult) -> tuple[dict[int, float], AuditResult]:
    """Return the lowered feeds by line, and the audit of the program with them.

    Where a limit of a block breaks whatever the feed (a ramp too steep at any), the block is not slowed down for it.
    """
    program, style = inputs.program, FeedStyle(inputs.program)
    old = feeds_of(program, inputs.meaning.moves)
    first: dict[int, float] = dict(zip(old.line.tolist(), old.feed.tolist(), strict=True))
    new: dict[int, float] = {}
    beyond: set[tuple[int, int]] = set()
    for k in range(3 * ROUNDS):
        found = _beyond(result) - beyond
        beyond |= found
        wanted = _advised(result, old, beyond)
        lost = {x for x, f in wanted.items() if k % ROUNDS == ROUNDS - 1 or new.get(x, first[x]) < LEAST * first[x]}
        beyond |= {(x, limit) for x in lost for limit in range(len(LIMITS))}
        again_from_start = (lost | {x for x, _ in found}) & new.keys()
        if not wanted and not again_from_start:
            break
        new |= {x: style.rounded(min(f, LESS * new.get(x, first[x]))) for x, f in wanted.items()}
        new = {x: f for x, f in new.items() if x not in again_from_start and x not in lost}
        result = examine(schedule(again(inputs, joined(program, rewritten(program, old, new, style)))))
    trial = Trial(
        audit=lambda feeds: examine(schedule(again(inputs, joined(program, rewritten(program, old, feeds, style))))),
        broken=lambda found: set(_advised(found, old, beyond)) | {x for x, _ in _beyond(found) - beyond},
        rounded=style.rounded,
    )
    return regained(new, first, result, trial) if new else (new, result)


def _beyond(result: AuditResult) -> set[tuple[int, int]]:
    """Return the lines and limits that a lower feed does not mend."""
    found = result.findings
    at = np.flatnonzero(np.isnan(found.feed))
    return set(zip(found.line[at].tolist(), found.limit[at].tolist(), strict=True))


def _advised(result: AuditResult, old: Feeds, beyond: set[tuple[int, int]]) -> dict[int, float]:
    """Return the least advised feed, as an F word, of each line that may be lowered, limits ``beyond`` left out."""
    found, out = result.findings, dict[int, float]()
    place = {line: k for k, line in enumerate(old.line.tolist()) if old.free[k]}
    for line, limit, feed in zip(found.line.tolist(), found.limit.tolist(), found.feed.tolist(), strict=True):
        if isfinite(feed) and line in place and (line, limit) not in beyond:
            out[line] = min(out.get(line, inf), feed / float(old.scale[place[line]]))
    return out


def _written(inputs: Inputs, new: dict[int, float]) -> tuple[bytes, tuple[Change, ...]]:
    """Return the program with the new feeds, and what was changed."""
    program = inputs.program
    old = feeds_of(program, inputs.meaning.moves)
    if not new:
        return program.source, ()
    source = joined(program, rewritten(program, old, new, FeedStyle(program)))
    first = dict(zip(old.line.tolist(), old.feed.tolist(), strict=True))
    return source, tuple(Change(line=x, before=first[x], now=new[x]) for x in sorted(new))


def _comment(inputs: Inputs) -> str:
    """Return the head comment: from what, for which machine; no date, so that the same input gives the same bytes."""
    digest = hashlib.sha256(inputs.program.source).hexdigest()[:12]
    name = inputs.program.name.replace("\\", "/").rsplit("/", 1)[-1]
    return f"FROM {name} SHA-256 {digest} FOR {_machine(inputs.machine)}".upper()


def _machine(machine: Machine) -> str:
    return f"MACHINE {machine.name}, REVISION {machine.revision}"
