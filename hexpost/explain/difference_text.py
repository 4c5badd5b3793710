"""A difference as text and as one JSON document."""

import json
from collections.abc import Iterator

from hexpost.explain.difference import Change, Difference
from hexpost.report.words import clean, plural

MOST_CHANGES = 1000
"""Changes that are listed; the rest is counted."""

TITLES = {
    "move": "move",
    "feed": "feed",
    "offset": "work offset",
    "tool": "tool in the spindle",
    "length": "tool length",
    "rest": "rest at the end of the move",
    "event": "event",
    "place": "place of an event among the moves",
}
"""What a change is about, in words."""


def text(found: Difference, old: str, new: str) -> Iterator[str]:
    """Yield the lines of a difference for people; ``old`` and ``new`` are the names of the programs."""
    a, b, alike = found.moves
    if found.same:
        yield f"same meaning: {plural(a, 'move')}, {plural(found.events[0], 'event')}"
        return
    yield f"- {clean(old)} ({plural(a, 'move')}, {plural(found.events[0], 'event')})"
    yield f"+ {clean(new)} ({plural(b, 'move')}, {plural(found.events[1], 'event')}); {plural(alike, 'move')} alike"
    for change in found.changes[:MOST_CHANGES]:
        yield from change_lines(change)
    if len(found.changes) > MOST_CHANGES:
        yield f"... and {plural(len(found.changes) - MOST_CHANGES, 'more change', 'more changes')}"


def change_lines(change: Change) -> Iterator[str]:
    """Yield a change: what it is about and how much of it, what was and what is."""
    many = f": {plural(change.count, 'move')}" if change.count > 1 else ""
    first = ", the first" if many and change.what == "move" else ""
    yield f"{TITLES[change.what]} {change.how}{many}{first}"
    if change.old is not None:
        yield f"  - {lines(change.old)}: {clean(change.before)}"
    if change.new is not None:
        yield f"  + {lines(change.new)}: {clean(change.after)}"


def lines(span: tuple[int, int]) -> str:
    """Return the lines of a change in words."""
    return f"line {span[0]}" if span[0] == span[1] else f"lines {span[0]} to {span[1]}"


def to_json(found: Difference, old: str, new: str, tolerance: float) -> str:
    """Return the difference as one JSON document (ASCII)."""
    counts = ("old", "new", "alike")
    document = {
        "same": found.same,
        "old": old,
        "new": new,
        "tolerance_mm_deg": tolerance,
        "moves": dict(zip(counts, found.moves, strict=True)),
        "events": dict(zip(counts, found.events, strict=True)),
        "changes_total": len(found.changes),
        "changes": [
            {
                "what": c.what,
                "how": c.how,
                "old_lines": c.old,
                "new_lines": c.new,
                "count": c.count,
                "before": c.before,
                "after": c.after,
            }
            for c in found.changes[:MOST_CHANGES]
        ],
    }
    return json.dumps(document, indent=1, allow_nan=False) + "\n"
