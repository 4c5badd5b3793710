"""One document a block: what is in force after it, where the tool tip is, what moves and what happens."""

from collections.abc import Iterable, Iterator
from math import isfinite

import numpy as np

from hexpost.arrays import Array, Lines
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, FEED_TIP, WITH, Events
from hexpost.moves.trace import Trace
from hexpost.moves.window.state import NONE
from hexpost.moves.words import ONE_BLOCK, WORDS
from hexpost.program.model import Program
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE

Document = dict[str, object]

CODED = {(w.letter, w.code): w for w in WORDS if w.code is not None}
FEED_UNITS = {FEED_TIP: "mm/min", FEED_TILT: "deg/min", FEED_INVERSE: "1/min", FEED_RAPID: None}
FEED_SCALES = {FEED_TIP: 1.0, FEED_TILT: DEG_PER_RAD, FEED_INVERSE: 1.0, FEED_RAPID: 1.0}
SHOWN = ("motion", "plane", "units", "distance", "feed mode", "path control", "work offset", "tool length")
"""Groups of G words for which the interpreter's own state speaks, not the words."""
OTHERS = tuple(dict.fromkeys(w.group for w in WORDS if w.letter == "G" and w.group not in SHOWN + ONE_BLOCK))
"""All other modal groups of G words."""
POSE = np.array([1.0] * 3 + [DEG_PER_RAD] * 3)
"""From mm and rad to mm and degrees."""


def documents(program: Program, parts: Iterable[Trace]) -> Iterator[Document]:
    """Yield a document for every block that runs, fit for JSON: lengths in mm, angles in degrees, feeds a minute."""
    for part in parts:
        yield from _documents(program, part)


def _documents(program: Program, part: Trace) -> Iterator[Document]:
    """Yield the documents of the blocks of ``part``."""
    common = in_force(part)
    moves, events = by_line(part.steps.line), by_line(part.events.line)
    arcs = {int(move): k for k, move in enumerate(part.steps.turns.move)}
    read = part.words
    for row, line in enumerate(part.lines.tolist()):
        words = slice(int(read.first[row]), int(read.first[row + 1]))
        letters, values = read.letter[words].tobytes().decode("ascii"), read.value[words].tolist()
        yield {
            "line": line,
            "block": next((f"N{v:.0f}" for x, v in zip(letters, values, strict=True) if x == "N"), ""),
            "text": program.text(line),
            "once": once(letters, values),
            "state": {**common, "motion": short("G", int(part.motion[row])), "feed": modal_feed(part, row)},
            "tip_mm_deg": pose(part.place[:, row]),
            "moves": [move(part, i, arcs.get(i)) for i in moves.get(line, ())],
            "events": [event(part.events, i) for i in events.get(line, ())],
        }


def in_force(part: Trace) -> Document:
    """Return the state that all blocks of a part share, in the words of the trade."""
    state, frame, said = part.state, part.frame, part.said
    out: Document = {
        "motion": None,
        "feed": None,
        "feed_mode": short("G", state.feed_mode),
        "offset": frame.offset,
        "plane": short("G", state.plane),
        "units": short("G", state.units),
        "distance": short("G", state.distance),
        "path_control": short("G", state.path_control),
        "tool": state.tool or None,
        "tool_selected": None if state.selected < 0 else state.selected,
        "length_row": frame.length_row or None,
        "length_mm": number(frame.length),
        "spindle": short("M", said.get("spindle", NONE)),
        "spindle_speed": said.get("S"),
        "coolant": short("M", said.get("coolant", NONE)),
    }
    return out | {group.replace(" ", "_"): short("G", said.get(group, NONE)) for group in OTHERS}


def once(letters: str, values: list[float]) -> list[str]:
    """Return what the words of a block mean that act in it alone."""
    coded = [CODED.get((letter, value)) for letter, value in zip(letters, values, strict=True)]
    return [f"{word.name}: {word.does}" for word in coded if word is not None and word.group in ONE_BLOCK]


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
    letter, value = chr(events.letter[i]), float(events.value[i])
    word = CODED.get((letter, value))
    return {
        "word": word.name if word else f"{letter}{value:g}",
        "means": word.does if word else {"S": "spindle speed", "T": "tool for the next M06"}.get(letter, ""),
        "when": "with the motion" if events.rule[i] == WITH else "after the motion",
        "pause_s": number(float(events.pause[i])),
        "waits": bool(events.wait[i]),
    }


def short(letter: str, code: float) -> str | None:
    """Return what a code means in a few words; ``None`` where no word of its group has been given."""
    word = CODED.get((letter, code))
    if word is None:
        return None if code == NONE else f"{letter}{code:g}"
    head = word.does.split(":")[0]
    return head.split(",")[0] if letter == "M" else head


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
