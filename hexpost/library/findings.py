"""From the findings of an audit to those of the gate: one a line, limit and strut, with a lasting fingerprint."""

import hashlib
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from hexpost.arrays import Ints
from hexpost.audit.model import Finding, Findings
from hexpost.program.model import Program

MOST_ALIKE = 200
"""So many lines that break one limit of one strut are listed; more of them become one finding, the worst."""

MOST_TEXT = 200
"""So much of a block counts in its fingerprint."""
_NUMBER = re.compile(r"^\s*(/\s*\d?\s*)?[Nn:]\s*\d+\s*")
_ANY = "*"
"""The text of many blocks in a fingerprint."""


def gather(
    found: Findings, program: Program, boxes: Sequence[str], margins: Mapping[str, float]
) -> tuple[Finding, ...]:
    """Return the findings, one for each line, limit and strut (its worst), worst first, then by line.

    ``boxes`` are the names of the keep-out boxes, ``margins`` the shares that were asked for.
    """
    group = found.limit.astype(np.int64) * 8 + found.strut
    _, first = np.unique(group << 32 | found.line, return_index=True)  # the audit lists the worst first
    _, member, size = np.unique(group[first], return_inverse=True, return_counts=True)
    many = size[member] > MOST_ALIKE
    rows = [(int(i), 1) for i in _by_line(found, first[~many])]
    rows += [(int(first[member == k].min()), int(size[k])) for k in np.flatnonzero(size > MOST_ALIKE)]
    out = []
    for i, blocks in rows:
        row = found.row(i, program, boxes)
        out.append(replace(row, blocks=blocks, margin=margins.get(row.limit.name, 1.0)))
    return tuple(sorted(_named(out, program), key=lambda f: (-f.ratio, f.line, f.limit.name, f.strut)))


def _by_line(found: Findings, rows: Ints) -> Ints:
    """Return rows in order of their lines."""
    out: Ints = rows[np.argsort(found.line[rows], kind="stable")]
    return out


def _named(found: list[Finding], program: Program) -> list[Finding]:
    """Return findings with their fingerprints; of equal blocks, the first, the second ... finding are told apart."""
    seen: Counter[tuple[str, int, str]] = Counter()
    out = []
    for f in found:
        text = program.text(f.line).strip()[:MOST_TEXT] if 1 <= f.line <= program.lines else ""
        key = (f.limit.name, f.strut, _ANY if f.blocks > 1 else unnumbered(text))
        out.append(replace(f, fingerprint=fingerprint(*key, seen[key])))
        seen[key] += 1
    return out


def fingerprint(limit: str, strut: int, text: str, occurrence: int) -> str:
    """Return 32 hexadecimal digits that name a finding within its program."""
    return hashlib.sha256(f"{limit}\n{strut}\n{text}\n{occurrence}".encode()).hexdigest()[:32]


def unnumbered(text: str) -> str:
    """Return the text of a block without its block number, its spaces made even."""
    return " ".join(_NUMBER.sub(lambda m: m[1] or "", text).split())
