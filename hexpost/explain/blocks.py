"""One document a block: what is in force after it, where the tool tip is, what moves and what happens."""

from collections.abc import Iterable, Iterator
from math import isfinite

import numpy as np

from hexpost.arrays import Array, Lines
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, FEED_TIP, WITH, Events
from hexpost.moves.trace import Trace
from hexpost.program.model import Program
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE

Document = dict[str, object]

FEED_UNITS = {FEED_TIP: "mm/min", FEED_TILT: "deg/min", FEED_INVERSE: "1/min", FEED_RAPID: None}
FEED_SCALES = {FEED_TIP: 1.0, FEED_TILT: DEG_PER_RAD, FEED_INVERSE: 1.0, FEED_RAPID: 1.0}
POSE = np.array([1.0] * 3 + [DEG_PER_RAD] * 3)
"""From mm and rad to mm and degrees."""


def documents(program: Program, parts: Iterable[Trace]) -> Iterator[Document]:
    """Yield a document for every block that runs, fit for JSON: lengths in mm, angles in degrees, feeds a minute."""
    for part in parts:
        yield from _documents(program, part)


def _documents(program: Program, part: Trace) -> Iterator[Document]:
    """Yield the documents of the blocks of ``part``."""
    common = {**part.state, "length_mm": number(part.frame.length)}
    moves, events = by_line(part.steps.line), by_line(part.events.line)
    arcs = {int(move): k for k, move in enumerate(part.steps.turns.move)}
    for row, line in enumerate(part.lines.tolist()):
        yield {
            "line": line,
            "block": part.blocks[row],
            "text": program.text(line),
            "once": part.once[row],
            "state": {**common, "motion": part.motion[row], "feed": modal_feed(part, row)},
            "tip_mm_deg": pose(part.place[:, row]),
            "moves": [move(part, i, arcs.get(i)) for i in moves.get(line, ())],
            "events": [event(part.events, i) for i in events.get(line, ())],
        }


def modal_feed(part: Trace, row: int) -> Document | None:
    """Return the feed in force after a block as it was written, with its unit of length; ``None`` for none."""
    feed = float(part.feed[row])
    return {"written": feed, "mm_per_unit": float(part.feed_scale[row])} if isfinite(feed) else None


def move(part: Trace, i: int, arc: int | None) -> Document:
    """Return a move of a trace; ``arc`` is its place among the arcs."""
    steps, turns = part.steps, part.steps.turns
    turn = None if arc is None else (turns.centre[:, arc], int(turns.axis[arc]), float(turns.turn[arc]))
    frame = part.frames[steps.frame[i]].offset
    return motion(steps.end[:, i], float(steps.feed[i]), int(steps.feed_mode[i]), frame, turn)


def motion(end: Array, feed: float, mode: int, frame: str, arc: tuple[Array, int, float] | None) -> Document:
    """Return a move: its kind, where it leads, how fast; ``arc`` is its centre (3,), axis and turn."""
    out: Document = {
        "kind": "rapid" if mode == FEED_RAPID else "line",
        "to_mm_deg": pose(end),
        "frame": frame,
        "feed": number(feed * SECONDS_PER_MINUTE * FEED_SCALES[mode]),
        "feed_unit": FEED_UNITS[mode],
    }
    if arc is not None:
        centre, axis, turn = arc
        out["kind"] = "arc"
        out["centre_mm"] = [number(x) for x in centre.tolist()]
        out["axis"] = "XYZ"[axis]
        out["turn_deg"] = number(turn * DEG_PER_RAD)
    return out


def event(events: Events, i: int) -> Document:
    """Return an event: the word, what it means, when it takes effect, how long the tool rests."""
    return {
        "word": events.name(i),
        "means": events.means(i),
        "when": "with the motion" if events.rule[i] == WITH else "after the motion",
        "pause_s": number(float(events.pause[i])),
        "waits": bool(events.wait[i]),
    }


def number(x: float) -> float | None:
    """Return ``x`` to nine decimals (no rounding dust, no negative zero), ``None`` where it is not finite."""
    return round(x, 9) + 0.0 if isfinite(x) else None


def pose(place: Array) -> list[float | None]:
    """Return x y z in mm and a b c in degrees of a pose (6,)."""
    return [number(v) for v in (place * POSE).tolist()]


def by_line(lines: Lines) -> dict[int, list[int]]:
    """Return the indices of the rows that belong to each line."""
    out: dict[int, list[int]] = {}
    for i, line in enumerate(lines.tolist()):
        out.setdefault(line, []).append(i)
    return out
