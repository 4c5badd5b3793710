"""One document a block: what is in force after it, where the tool tip is, what moves and what happens."""

from collections.abc import Iterable, Iterator
from math import isfinite

import numpy as np

from hexpost.arrays import Array, Lines
from hexpost.moves.model import (
    F_INVERSE,
    F_PER_REVOLUTION,
    FEED_INVERSE,
    FEED_RAPID,
    FEED_TILT,
    FEED_TIP,
    WITH,
    Arcs,
    Events,
)
from hexpost.moves.motion.steps import Spread, Steps
from hexpost.moves.rotary.foreign import MACHINE_WORD
from hexpost.moves.trace import Trace
from hexpost.program.model import Program
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE

Document = dict[str, object]

FEED_UNITS = {FEED_TIP: "mm/min", FEED_TILT: "deg/min", FEED_INVERSE: "1/min", FEED_RAPID: None}
FEED_SCALES = {FEED_TIP: 1.0, FEED_TILT: DEG_PER_RAD, FEED_INVERSE: 1.0, FEED_RAPID: 1.0}
SAME = 1e-9
"""Millimetres and radians within which two moves end at one place."""
TURNED = 1e-6
"""Radians from which a turn of the platform is worth a word."""
POSE = np.array([1.0] * 3 + [DEG_PER_RAD] * 3)
"""From mm and rad to mm and degrees."""


def documents(
    program: Program, parts: Iterable[Trace], centre: tuple[Steps, Spread] | None = None
) -> Iterator[Document]:
    """Yield a document for every block that runs, fit for JSON: lengths in mm, angles in degrees, feeds a minute.

    ``centre``: the moves of the tool centre, and where the programmed ones went among them.
    """
    for part in parts:
        yield from _documents(program, part, centre if centre and len(centre[1].first) else None)


def _documents(program: Program, part: Trace, centre: tuple[Steps, Spread] | None) -> Iterator[Document]:
    """Yield the documents of the blocks of ``part``."""
    common = {**part.state, "length_mm": number(part.frame.length)}
    moves, events = by_line(part.steps.line), by_line(part.events.line)
    pending = number(part.turning * DEG_PER_RAD)
    for row, line in enumerate(part.lines.tolist()):
        yield {
            "line": line,
            "block": part.blocks[row],
            "text": program.text(line),
            "once": part.once[row],
            "state": {**common, "motion": part.motion[row], "feed": modal_feed(part, row)},
            "tip_mm_deg": pose(part.place[:, row]),
            "moves": [move(part, i, centre) for i in moves.get(line, ())],
            "events": [event(part.events, i) for i in events.get(line, ())],
            "next_move_turns_deg": pending,
        }


def modal_feed(part: Trace, row: int) -> Document | None:
    """Return the feed in force after a block as it was written, with its unit of length; ``None`` for none."""
    feed = float(part.feed[row])
    return {"written": feed, "mm_per_unit": float(part.feed_scale[row])} if isfinite(feed) else None


def move(part: Trace, i: int, centre: tuple[Steps, Spread] | None) -> Document:
    """Return a move of a trace: as it is, as it is written where that differs, where the tool centre goes."""
    frame = part.frames[part.steps.frame[i]].offset
    out = step(part.steps, i, frame)
    if i == 0 and part.turned > TURNED:
        out["platform_turns_deg"] = number(part.turned * DEG_PER_RAD)
    if part.said is not None and frame != MACHINE_WORD:
        out["programmed"] = programmed(part, i)
        out["kind"] = step(part.said, i, frame)["kind"]
    if centre is not None:
        steps, spread = centre
        k = part.first + i
        became = range(int(spread.first[k]), int(spread.last[k]) + 1)
        if len(became) != 1 or np.abs(steps.end[:, became[0]] - part.steps.end[:, i]).max() > SAME:
            out["tool_centre"] = [step(steps, j, frame) for j in became]
    return out


def step(steps: Steps, i: int, frame: str) -> Document:
    """Return one of many moves, in the frame of a name."""
    return motion(steps.end[:, i], float(steps.feed[i]), int(steps.feed_mode[i]), frame, arc_of(steps.turns, i))


def arc_of(turns: Arcs, i: int) -> tuple[Array, int, float] | None:
    """Return centre (3,), axis and turn of move ``i``; ``None`` where it is no arc."""
    k = int(np.searchsorted(turns.move, i))
    if k == len(turns.move) or turns.move[k] != i:
        return None
    return turns.centre[:, k], int(turns.axis[k]), float(turns.turn[k])


def programmed(part: Trace, i: int) -> Document:
    """Return a move in the words of [programmed_axes]: where it leads in mm and degrees, its feed as it is written.

    Where only rotary words change, F counts degrees of the word that turns most.
    """
    assert part.said is not None
    end = part.said.end[:, i]
    if part.vector:
        rotary = dict(zip(part.axes, end[3:].tolist(), strict=True))
    else:
        rotary = {x: float(end["XYZABC".index(x)]) * DEG_PER_RAD for x in part.axes}
    words = dict(zip("XYZ", end[:3].tolist(), strict=True)) | rotary
    at = np.array([i])
    mode, feed = int(part.written.mode.at(at)[0]), float(part.written.feed.at(at)[0])
    scale = float(part.written.scale.at(at)[0])
    alone = part.steps.feed_mode[i] == FEED_TILT or (part.steps.feed_mode[i] == FEED_INVERSE and mode != F_INVERSE)
    length = "deg" if alone else "mm" if scale == 1.0 else "inch"
    unit: str | None = f"{length}/rev" if mode == F_PER_REVOLUTION else f"{length}/min"
    if mode == F_INVERSE:
        feed, unit = float(part.steps.feed[i]) * SECONDS_PER_MINUTE, "1/min"
    if part.steps.feed_mode[i] == FEED_RAPID:
        feed, unit = float("nan"), None
    return {
        "words_mm_deg": {x: number(v) for x, v in words.items()},
        "mm_per_unit": scale,
        "feed": number(feed),
        "feed_unit": unit,
    }


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
