"""From the findings of an audit to those of the gate: one a line, limit and strut, with a lasting fingerprint."""

import hashlib
import re
import sys
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from hexpost.arrays import Ints
from hexpost.audit.model import Finding, Findings
from hexpost.program.model import Program

MOST_ALIKE = 200
"""So many lines that break one limit of one strut are listed; more of them become one finding, the worst."""

MOST_TEXT = 200
"""So much of a block counts in its fingerprint."""

SHORT = 16
"""So many digits of a fingerprint name a block of such a finding: two in a million blocks are alike by chance in one of
thirty million programs."""
_NUMBER = re.compile(r"^\s*(/\s*\d?\s*)?[Nn:]\s*\d+\s*")
_ANY = "*"
"""The text of many blocks in a fingerprint."""

Alike = dict[str, tuple[tuple[str, float], ...]]
"""For the fingerprint of a finding of many blocks: each of them by its short fingerprint, with its ratio."""


def gather(found: Findings, program: Program, margins: Mapping[str, float]) -> tuple[tuple[Finding, ...], Alike]:
    """Return the findings, one for each line, limit and strut (its worst), worst first, then by line; and their blocks.

    ``margins`` are the shares that were asked for.
    """
    group = found.limit.astype(np.int64) * 8 + found.strut
    _, first = np.unique(group << 32 | found.line, return_index=True)  # the audit lists the worst first
    _, member, size = np.unique(group[first], return_inverse=True, return_counts=True)
    many = size[member] > MOST_ALIKE
    prints = _Fingerprints(program)
    alike = Alike()
    out = [(int(i), 1, prints.block(found, int(i))) for i in _by_line(found, first[~many])]
    for k in np.flatnonzero(size > MOST_ALIKE):
        rows, worst = first[member == k], int(first[member == k].min())
        mark = prints.many(found, worst)
        out.append((worst, int(size[k]), mark))
        each = [(prints.block(found, int(i))[:SHORT], float(found.ratio[i])) for i in _by_line(found, rows)]
        alike[mark] = tuple((name, min(ratio, sys.float_info.max)) for name, ratio in each)
    listed = []
    for i, blocks, mark in out:
        row = found.row(i, program)
        listed.append(replace(row, blocks=blocks, margin=margins.get(row.limit.name, 1.0), fingerprint=mark))
    return tuple(sorted(listed, key=lambda f: (-f.ratio, f.line, f.limit.name, f.strut))), alike


def _by_line(found: Findings, rows: Ints) -> Ints:
    """Return rows in order of their lines."""
    out: Ints = rows[np.argsort(found.line[rows], kind="stable")]
    return out


class _Fingerprints:
    """Fingerprints of the findings of a program; of equal blocks, the first, the second ... finding are told apart."""

    def __init__(self, program: Program) -> None:
        self._program = program
        self._seen: Counter[tuple[str, int, str]] = Counter()
        self._texts: dict[int, str] = {}

    def block(self, found: Findings, i: int) -> str:
        """Return the fingerprint of finding ``i``, of one block; findings of a limit and strut come by line."""
        line = int(found.line[i])
        if line not in self._texts:
            within = 1 <= line <= self._program.lines
            self._texts[line] = unnumbered(self._program.text(line).strip()[:MOST_TEXT]) if within else ""
        return self._next(found, i, self._texts[line])

    def many(self, found: Findings, i: int) -> str:
        """Return the fingerprint of a finding of many blocks, the worst of which is ``i``."""
        return self._next(found, i, _ANY)

    def _next(self, found: Findings, i: int, text: str) -> str:
        key = (found.limits[found.limit[i]].name, int(found.strut[i]), text)
        self._seen[key] += 1
        return fingerprint(*key, self._seen[key] - 1)


def fingerprint(limit: str, strut: int, text: str, occurrence: int) -> str:
    """Return 32 hexadecimal digits that name a finding within its program."""
    return hashlib.sha256(f"{limit}\n{strut}\n{text}\n{occurrence}".encode()).hexdigest()[:32]


def unnumbered(text: str) -> str:
    """Return the text of a block without its block number, its spaces made even."""
    return " ".join(_NUMBER.sub(lambda m: m[1] or "", text).split())
