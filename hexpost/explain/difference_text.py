"""A difference as text and as plain values."""

from collections.abc import Iterator, Sequence

from hexpost.explain.difference import Change, Difference
from hexpost.voice import clean, plural

MOST_CHANGES = 1000
"""Changes that are listed; the rest is counted."""
MOST_PLACES = 6
"""Places of changes like one that is shown."""

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
    groups = like_one_another(found.changes)
    for group in groups[:MOST_CHANGES]:
        yield from change_lines(group)
    if len(groups) > MOST_CHANGES:
        yield f"... and {plural(len(groups) - MOST_CHANGES, 'more change', 'more changes')}"


def like_one_another(changes: Sequence[Change]) -> list[list[Change]]:
    """Return the changes, those together that differ in nothing but where they are, in the order of the first ones."""
    out: dict[tuple[str, ...], list[Change]] = {}
    for change in changes:
        out.setdefault((change.what, change.how, *pattern(change)), []).append(change)
    return list(out.values())


def pattern(change: Change) -> tuple[str, ...]:
    """Return what changes of many places may have in common: the words that differ, or all but places in X and Y."""
    old, new = change.before.split(), change.after.split()
    if change.what == "move" and change.how == "changed" and len(old) == len(new):
        return tuple(f"{x} -> {y}" for x, y in zip(old, new, strict=True) if x != y)
    return (" ".join(x for x in old if x[0] not in "XY"), " ".join(x for x in new if x[0] not in "XY"))


def change_lines(group: Sequence[Change]) -> Iterator[str]:
    """Yield a change: what it is about and how much of it, what was and what is; where more like it are."""
    change, rest = group[0], group[1:]
    many = f": {plural(change.count, 'move')}" if change.count > change.times else ""
    first = ", the first" if many and change.what == "move" else ""
    again = f" ({change.times} times)" if change.times > 1 else ""
    yield f"{TITLES[change.what]} {change.how}{many}{first}{again}"
    if change.old is not None:
        yield f"  - {lines(change.old)}: {clean(change.before)}"
    if change.new is not None:
        yield f"  + {lines(change.new)}: {clean(change.after)}"
    if rest:
        yield f"  and {len(rest)} more like it, {places(rest)}"


def places(changes: Sequence[Change]) -> str:
    """Return where changes are, as far as fits in one line."""
    sides = [(" of the old program", c.old) if c.old is not None else (" of the new program", c.new) for c in changes]
    where = [*dict.fromkeys(x for _, x in sides if x is not None)]
    told = [f"{a}" if a == b else f"{a} to {b}" for a, b in where[:MOST_PLACES]]
    dots = ", ..." if len(where) > MOST_PLACES else ""
    return f"line{'s' * (told != [str(where[0][0])])} {', '.join(told)}{dots}{sides[0][0]}"


def lines(span: tuple[int, int]) -> str:
    """Return the lines of a change in words."""
    return f"line {span[0]}" if span[0] == span[1] else f"lines {span[0]} to {span[1]}"


def document(found: Difference, old: str, new: str, tolerance: float) -> dict[str, object]:
    """Return the difference as plain values."""
    counts = ("old", "new", "alike")
    return {
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
                "times": c.times,
                "before": c.before,
                "after": c.after,
            }
            for c in found.changes[:MOST_CHANGES]
        ],
    }
