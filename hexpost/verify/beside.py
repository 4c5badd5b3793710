"""What a report says that a job does beside its motion, against the words of the program and the machine file."""

from collections.abc import Iterable, Mapping
from typing import Any

from hexpost.machine.model import ShopTimes
from hexpost.moves.model import Events
from hexpost.verify.model import Check, Faults

_SAME = 1e-6
_ALONE = {"M6": "tool change", "M0": "attended stop", "M1": "attended stop", "M60": "attended stop"}
_WAYS = {"M3": "clockwise", "M13": "clockwise", "M4": "counter", "M14": "counter"}
_WAYS |= dict.fromkeys(("M5", "M19", *_ALONE), "")
"""How the spindle is behind a word: which way it turns, or at rest."""


def check_beside(events: Events, times: ShopTimes, report: Mapping[str, Any]) -> Check:
    """Check the counts and the times of a report, word by word."""
    faults, told = Faults(), report["beside"]
    counts = _counts(events.word(i) for i in range(len(events.line)))
    each = {
        "tool change": times.tool_change, "spindle start": times.spindle_start,
        "spindle reversal": times.spindle_reverse, "attended stop": times.attended_stop,
    }  # fmt: skip
    said = {row["what"]: row for row in told["rows"]}
    for name in sorted({*counts, *said}):
        row = said.get(name, {})
        if row.get("count", 0) != counts.get(name, 0) or name not in each:
            faults.add(f"{name}: {counts.get(name, 0):,} in the program, the report says {row.get('count', 0)!r:.20}")
        elif not _alike(row["each_s"], each[name]):
            faults.add(f"{name}: takes {each[name]} s by the machine file, the report says {row['each_s']!r:.20}")
    known = sum(n * (each.get(name) or 0.0) for name, n in counts.items())
    whole = None if any(each.get(name) is None for name in counts) else known + float(report["duration_s"])
    for key, want in (("known_s", known), ("in_the_shop_s", whole)):
        if not _alike(told[key], want):
            faults.add(f"{key}: is {want}, the report says {told[key]!r:.20}")
    return Check(
        name="beside", text=f"{sum(counts.values()):,} things beside the motion, counted", faults=faults.told()
    )


def _counts(words: Iterable[str]) -> dict[str, int]:
    """Return how often words, one after the other, ask for what takes time beside the motion."""
    counts: dict[str, int] = {}
    way = ""
    for word in words:
        if word not in _WAYS:
            continue
        before, way = way, _WAYS[word]
        name = _ALONE.get(word, "")
        if way and way != before:
            name = "spindle reversal" if before else "spindle start"
        if name:
            counts[name] = counts.get(name, 0) + 1
    return counts


def _alike(a: object, b: float | None) -> bool:
    """Return whether a report says what is expected, which may be that it is not known."""
    return a is None if b is None else isinstance(a, int | float) and abs(a - b) <= _SAME * max(1.0, abs(b))
