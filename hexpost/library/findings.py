"""From the findings of an audit to those of the gate: one a line, limit and strut, with a lasting fingerprint."""

import hashlib
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from math import isfinite

import numpy as np

from hexpost.arrays import Ints
from hexpost.audit.model import LIMITS, UNITS, Findings
from hexpost.library.model import Found
from hexpost.program.model import Program

MOST_ALIKE = 200
"""So many lines that break one limit of one strut are listed; more of them become one finding, the worst."""

MOST_TEXT = 200
_NUMBER = re.compile(r"^\s*(/\s*\d?\s*)?[Nn:]\s*\d+\s*")
_ANY = "*"
"""Stands in a fingerprint for the text of many blocks."""


def gather(found: Findings, program: Program, margins: Mapping[str, float]) -> tuple[Found, ...]:
    """Return the findings, one for each line, limit and strut (its worst), worst first, then by line."""
    group = found.limit.astype(np.int64) * 8 + found.strut
    _, first = np.unique(group << 32 | found.line, return_index=True)  # the audit lists the worst first
    _, member, size = np.unique(group[first], return_inverse=True, return_counts=True)
    many = size[member] > MOST_ALIKE
    out = [_found(found, int(i), program, margins, 1) for i in _by_line(found, first[~many])]
    for k in np.flatnonzero(size > MOST_ALIKE):
        worst = int(first[member == k].min())
        out.append(_found(found, worst, program, margins, int(size[k])))
    return tuple(sorted(_named(out), key=lambda f: (-f.use, f.line, f.limit, f.strut)))


def _by_line(found: Findings, rows: Ints) -> Ints:
    """Return rows in order of their lines."""
    out: Ints = rows[np.argsort(found.line[rows], kind="stable")]
    return out


def _found(found: Findings, i: int, program: Program, margins: Mapping[str, float], blocks: int) -> Found:
    """Return finding ``i``, its fingerprint still open."""
    line, limit, feed = int(found.line[i]), LIMITS[found.limit[i]], float(found.feed[i])
    return Found(
        limit=limit,
        strut=int(found.strut[i]),
        line=line,
        text=program.text(line).strip()[:MOST_TEXT] if 1 <= line <= program.lines else "",
        time_s=round(float(found.time[i]), 6),
        until_s=round(float(found.until[i]), 6),
        peak=float(found.peak[i]),
        allowed=float(found.allowed[i]),
        unit=UNITS[limit],
        use=float(found.ratio[i]) * margins.get(limit, 1.0),
        advice=found.advices[found.advice[i]],
        advice_feed_mm_min=feed if isfinite(feed) else None,
        blocks=blocks,
        fingerprint="",
    )


def _named(found: list[Found]) -> list[Found]:
    """Return findings with their fingerprints; of equal blocks, the first, the second ... finding are told apart."""
    seen: Counter[tuple[str, int, str]] = Counter()
    out = []
    for f in found:
        key = (f.limit, f.strut, _ANY if f.blocks > 1 else unnumbered(f.text))
        out.append(replace(f, fingerprint=fingerprint(*key, seen[key])))
        seen[key] += 1
    return out


def fingerprint(limit: str, strut: int, text: str, occurrence: int) -> str:
    """Return 32 hexadecimal digits that name a finding within its program."""
    return hashlib.sha256(f"{limit}\n{strut}\n{text}\n{occurrence}".encode()).hexdigest()[:32]


def unnumbered(text: str) -> str:
    """Return the text of a block without its block number, its spaces made even."""
    return " ".join(_NUMBER.sub(lambda m: m[1] or "", text).split())
