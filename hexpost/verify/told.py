"""What a report says of limits, and whether the table shows it: no finding too few, none too many, none milder."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from hexpost.arrays import Array, Flags, Ints, distinct
from hexpost.verify.model import Faults
from hexpost.voice import in_line

MOST_LINES = 10_000
ROUNDED, ROUNDED_MM = 5e-6, 5e-4
"""What a report may round away: this share of a measured value (it shows six digits), so many mm of a strut."""
Which = tuple[str, int]
"""A limit, and the strut that breaks it (0: the tool)."""


def belong(value: float, allowed: float, ratio: float) -> bool:
    """Return whether a value is that ratio of what is allowed, as rounded in a report."""
    return abs(value - ratio * allowed) <= 4.0 * ROUNDED * abs(value) + 1e-9


def proportional(finding: Mapping[str, Any]) -> bool:
    """Return whether peak, limit and ratio of a finding belong to each other."""
    return belong(*(abs(float(finding[key])) for key in ("peak", "allowed", "ratio")))


class Broken:
    """Lines in which a limit is broken: for certain, or perhaps, for the decimals leave it open; ``most`` of each."""

    def __init__(self) -> None:
        self.sure: set[int] = set()
        self.most: dict[int, float] = {}
        self.full = False

    def note(self, line: Ints, size: Array, sure: Flags, may: Flags) -> None:
        """Take the sizes (n,) of a limit's use in lines (n,): those that break it, or may do so."""
        at = np.flatnonzero(may)
        if not len(at):
            return
        lines, back = np.unique(line[at], return_inverse=True)
        most = np.full(len(lines), -np.inf)
        np.maximum.at(most, back, size[at])
        if len(self.most) + len(lines) > MOST_LINES:
            self.full = True
            return
        for number, value in zip(lines.tolist(), most.tolist(), strict=True):
            self.most[number] = max(self.most.get(number, -np.inf), value)
        self.sure.update(distinct(line[sure]).tolist())


class Told:
    """The findings and the worst uses of a report, by limit and strut."""

    def __init__(self, report: Mapping[str, Any]) -> None:
        self.verdict = report.get("verdict")
        self.whole = report.get("findings_total") == report.get("findings_listed") == len(report["findings"])
        self.total = report.get("findings_total")
        self.findings: dict[Which, dict[int, list[Mapping[str, Any]]]] = {}
        for f in report["findings"]:
            lines = self.findings.setdefault((f["limit"], f["strut"] or 0), {})
            lines.setdefault(f["line"] or 0, []).append(f)
        self.worst = {(limit, s["strut"]): w for s in report.get("struts", []) for limit, w in s["worst"].items()}
        self.worst |= {(limit, 0): w for limit, w in report.get("tool", {}).get("worst", {}).items()}
        self.lengths = {s["strut"]: (s["shortest_mm"], s["longest_mm"]) for s in report.get("struts", [])}
        self._seen: set[Which] = set()

    def compare(
        self,
        which: Which,
        broken: Broken,
        faults: Faults,
        *,
        key: str | None = None,
        room: float = 0.0,
        above: float = 0.0,
        share: float = 0.0,
        more: bool = False,
        fits: Callable[[Mapping[str, Any]], bool] = lambda _: True,
    ) -> None:
        """Find lines that break a limit and that the report leaves out, and such that it lists and that do not.

        ``key``: what of a finding must be the most of its line, to within ``room`` and a ``share`` of itself; a report
        that looked between rows may say ``above`` more. ``more``: the report may know of lines that the table does not
        show. ``fits``: whether what a finding says belongs together.
        """
        name = f"{which[0]} of strut {which[1]}" if which[1] else which[0]
        self._seen.add(which)
        listed = self.findings.get(which, {})
        if self.whole:
            for line in sorted(broken.sure - set(listed)):
                faults.add(f"{name}: broken in {in_line(line)}, which the report does not say")
        elif broken.sure and self.verdict != "broken":
            faults.add(f"{name}: broken in {in_line(min(broken.sure))}, but the report says {self.verdict}")
        for f in (f for found in listed.values() for f in found if not fits(f)):
            said = f"{f['peak']} is not {f['ratio']} of {f['allowed']}"
            faults.add(f"{name}: the report says of {in_line(f['line'] or 0)} what does not belong together: {said}")
        if not broken.full and not more:
            _overstated(name, listed, broken, faults, key=key, room=room, above=above, share=share)

    def rest(self, faults: Faults) -> None:
        """Find limits that the report lists findings of and that were not looked at."""
        for limit, strut in sorted(set(self.findings) - self._seen):
            faults.add(
                f"the report lists findings of {limit}" + (f" of strut {strut}" if strut else "") + ": not known"
            )
        if (self.verdict == "clean") != (not self.total):
            faults.add(f"the report says {self.verdict}, and lists {self.total} findings")


def _overstated(
    name: str, listed: Mapping[int, list[Mapping[str, Any]]], broken: Broken, faults: Faults, *,
    key: str | None, room: float, above: float, share: float,
) -> None:  # fmt: skip
    """Find lines that a report lists and that do not break the limit, or not by so much."""
    for line, found in listed.items():
        if line not in broken.most and not np.isfinite(above):
            continue
        if line not in broken.most:
            faults.add(f"{name}: the report says that line {line} breaks it, the table does not")
        elif key is not None:
            said, most = max(abs(float(f[key])) for f in found), broken.most[line]
            near = room + (ROUNDED + share) * said
            if not -near <= said - most <= near + above:
                faults.add(f"{name}: {most:.6f} in {in_line(line)}, the report says {said:.6f}")
