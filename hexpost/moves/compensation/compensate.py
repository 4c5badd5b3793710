"""The tool centre beside a programmed contour: compensated moves for the programmed ones."""

from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, Flags, Ints, among
from hexpost.kinematics.frames import rotation
from hexpost.machine.model import Machine, Tools
from hexpost.moves.compensation.approach import Departure, gouges
from hexpost.moves.compensation.contour import Contour, contour, normal
from hexpost.moves.compensation.corners import SLACK, Beside, collapse, room
from hexpost.moves.compensation.crossing import crossings
from hexpost.moves.compensation.insert import inserted
from hexpost.moves.compensation.merging import Merged, merged
from hexpost.moves.compensation.switches import LEFT, NO_ROW, OFF, CutterState, CutterWords
from hexpost.moves.frames.book import SAME
from hexpost.moves.model import FEED_RAPID, Frame
from hexpost.moves.motion.steps import Spread, Steps, without
from hexpost.moves.window.complaints import Teller
from hexpost.units import RAD_PER_DEG

SQUARE = np.sin(0.01 * RAD_PER_DEG)
"""Sine of the angle between tool and normal of the plane from which the tool is not square to it."""

UNCHANGED = Spread(np.empty(0, np.int64), np.empty(0, np.int64))


def compensate(
    steps: Steps, words: CutterWords, frames: tuple[Frame, ...], job: tuple[Machine, Tools], teller: Teller
) -> tuple[Steps, Spread]:
    """Return the moves of the tool centre, and where the programmed ones went; what cannot be cut is reported.

    Compensation begins with the first move in the plane, a straight one, which ends square to the contour; it ends
    with the first move in the plane after G40. Between them the tool rolls around outside corners and turns back at
    inside ones where its two paths meet. Moves out of the plane keep the place beside the contour.
    """
    machine, tools = job
    state = words.in_force(len(steps.line))
    on = np.flatnonzero(state.code != OFF)
    radius = _radii(steps, state, on, frames, tools)
    side = np.where(state.code[on] == LEFT, 1.0, -1.0)
    plane = state.plane[on].astype(np.int64)
    _refuse_changes(on, np.stack((side, radius, plane, steps.frame[on])), teller)
    c = contour(steps, on, side, radius, plane)
    if teller.faults:
        return steps, UNCHANGED
    _refuse_tilted(steps, c, machine.tilt_order, teller)
    entry = _entries(c)
    teller.say(
        c.move[entry][c.round[entry]],
        "compensation-starts-in-arc",
        "cutter radius compensation turned on, and its first move in the plane is an arc",
        "turn it on with a straight move (G00 or G01) to the start of the contour",
    )
    if teller.faults:
        return steps, UNCHANGED
    out = replace(steps, start=steps.start.copy(), end=steps.end.copy())
    along = c.flat.copy()
    along[entry] = False
    joined = merged(c.take(along), steps)
    element, path = joined.element, joined.path
    _refuse_no_room(element, path, teller)
    if not teller.faults:
        collapse(path, np.abs(room(path, element)) <= SLACK, element)
        _refuse_crossings(steps, element, path, teller)
    _enter(out, (c, entry), (element, path), teller)
    _place(out, (c, entry), joined)
    _depart(out, c, element, frames, teller)
    return _finished(out, element, path)


def _radii(steps: Steps, state: CutterState, on: Ints, frames: tuple[Frame, ...], tools: Tools) -> Array:
    """Return the cutter radius (k,) of the moves ``on`` (k,): half the diameter of row D, or of the tool itself."""
    own = np.array([frame.tool for frame in frames], dtype=np.int64)[steps.frame[on]]
    rows, which = np.unique(np.where(state.row[on] == NO_ROW, own, state.row[on]), return_inverse=True)
    found = [tools.tools.get(row) for row in rows.tolist()]
    return np.array([0.0 if tool is None else tool.diameter / 2.0 for tool in found])[which]


def _refuse_changes(on: Ints, columns: Array, teller: Teller) -> None:
    """Report moves before which side, radius, plane or frame change while compensation is on; ``columns`` (4, k)."""
    changed = (columns[:, 1:] != columns[:, :-1]) & (on[1:] == on[:-1] + 1)
    for which, code, what in zip(
        changed,
        ("compensation-side-changed", "compensation-radius-changed", "compensation-plane-changed",
         "compensation-frame-changed"),
        ("the side", "the cutter radius", "the plane", "the work frame, the tool or its length"),
        strict=True,
    ):  # fmt: skip
        teller.say(
            on[1:][which],
            code,
            f"{what} changes while cutter radius compensation is on",
            "turn it off (G40) with a move in the plane, and on again with the next",
        )


def _refuse_tilted(steps: Steps, c: Contour, order: str, teller: Teller) -> None:
    """Report compensated moves whose tool is not square to the plane at all times."""
    begin, end = steps.start[3:, c.move], steps.end[3:, c.move]
    new = np.append(True, (end[:, 1:] != end[:, :-1]).any(axis=0)) | (begin != end).any(axis=0)
    new[1:] |= c.axis[2, 1:] != c.axis[2, :-1]
    which = np.flatnonzero(new)
    tilted = np.zeros(len(which), dtype=np.bool_)
    for share in (0.0, 0.3, 0.5, 0.8, 1.0):
        angles = begin[:, which] + (end[:, which] - begin[:, which]) * share
        tool = rotation(angles[0], angles[1], angles[2], order)[:, 2]
        across = tool.copy()
        across[c.axis[2, which], np.arange(len(which))] = 0.0
        tilted |= np.linalg.norm(across, axis=0) > SQUARE
    teller.say(
        c.move[which[tilted]],
        "compensation-tool-not-square",
        "cutter radius compensation with a tool that is not square to the plane (within 0.01 degrees)",
        "choose the plane (G17 G18 G19) or the work offset that the tool is square to, or turn compensation off (G40)",
    )


def _entries(c: Contour) -> Ints:
    """Return the first move in the plane of every chain."""
    flat = np.flatnonzero(c.flat)
    return flat[np.flatnonzero(np.append(True, c.chain[flat][1:] != c.chain[flat][:-1])[: len(flat)])]


def _refuse_no_room(element: Contour, path: Beside, teller: Teller) -> None:
    """Report elements beside which the tool has no place."""
    size = np.hypot(*(element.start - element.centre))
    tight = element.round & (np.sign(element.turn) * element.side * element.radius > size + SLACK)
    hint = "a smaller cutter, or a contour without this corner"
    for index in np.flatnonzero(tight).tolist():
        teller.say(
            element.move[[index]],
            "compensation-arc-too-small",
            f"an arc of radius {size[index]:.4g} mm inside which a cutter of radius {element.radius[index]:.4g} mm "
            "does not fit: the tool would gouge",
            "a smaller cutter, or a larger arc",
        )
    near = tight | np.append(tight[1:], False) | np.append(False, tight[:-1])
    for index in np.flatnonzero(path.lost & ~near).tolist():
        lines = teller.line[element.move[[index - 1, index]]]
        teller.say(
            element.move[[index]],
            "compensation-no-path",
            f"the inside corner of lines {lines[0]} and {lines[1]} has no place for a cutter of radius "
            f"{element.radius[index]:.4g} mm: the tool would gouge",
            hint,
        )
    lost = path.lost | np.append(path.lost[1:], False)
    for index in np.flatnonzero((room(path, element) < -SLACK) & ~lost & ~near).tolist():
        teller.say(
            element.move[[index]],
            "compensation-no-path",
            f"a cutter of radius {element.radius[index]:.4g} mm does not reach this piece of the contour between its "
            "neighbours: the tool would gouge",
            hint,
        )


def _refuse_crossings(steps: Steps, element: Contour, path: Beside, teller: Teller) -> None:
    """Report places where the tool's path crosses itself and the contour does not: it is too narrow there."""
    depth = np.stack([x[element.axis[2], element.move] for x in (steps.start, steps.end)])
    cutting = steps.feed_mode[element.move] != FEED_RAPID
    for first, second in crossings(element, path, depth, cutting).tolist():
        lines = teller.line[element.move[[first, second]]]
        teller.say(
            element.move[[second]],
            "compensation-too-narrow",
            f"the contour is too narrow for a cutter of radius {element.radius[second]:.4g} mm between lines "
            f"{lines[0]} and {lines[1]}: the tool would gouge",
            "a smaller cutter",
        )


def _enter(out: Steps, whole: tuple[Contour, Ints], beside_it: tuple[Contour, Beside], teller: Teller) -> None:
    """End the entries ``entry`` (e,) square to the first element of their chain, or to themselves without one.

    An entry that ends at the depth of the contour must not cut into its first element.
    """
    (c, entry), (element, path) = whole, beside_it
    first = np.searchsorted(element.chain, c.chain[entry])
    alone = np.append(element.chain, -1)[first] != c.chain[entry]
    end = c.end[:, entry] + normal(c.arrive[:, entry], c.side[entry]) * c.radius[entry]
    followed, first = entry[~alone], first[~alone]
    end[:, ~alone] = path.start[:, first]
    _put(out.end, c, entry, end)
    axis, move = c.axis[2, followed], element.move[first]
    level = np.abs(out.end[axis, c.move[followed]] - out.start[axis, move]) < SAME
    followed, first = followed[level], first[level]
    cut = gouges(element.take(first), path.start[:, first], c.start[:, followed], leaving=False)
    teller.say(
        c.move[followed[cut]],
        "compensation-entry-gouges",
        "the move that turns cutter radius compensation on cuts into the contour after its start",
        "begin it on the tool's side of the contour, at least a cutter radius away",
    )


def _place(out: Steps, whole: tuple[Contour, Ints], joined: Merged) -> None:
    """Put the elements of the tool's path among the moves, and moves out of the plane where the tool is."""
    (c, entry), path = whole, joined.path
    at = np.searchsorted(c.move, joined.element.move)
    _put(out.start, c, at, path.start)
    _put(out.end, c, at, path.end)
    gone = np.searchsorted(c.move, joined.gone)
    _put(out.start, c, gone, path.start[:, joined.into])
    _put(out.end, c, gone, path.start[:, joined.into])
    flat = np.sort(np.concatenate((entry, at)))
    still = np.flatnonzero(~c.flat)
    if not flat.size:
        return
    before = np.searchsorted(flat, still) - 1
    inside = (before >= 0) & (c.chain[flat[np.maximum(before, 0)]] == c.chain[still])
    still, last = still[inside], flat[before[inside]]
    place = np.stack([out.end[c.axis[i, last], c.move[last]] for i in range(2)])
    _put(out.start, c, still, place)
    _put(out.end, c, still, place)


def _depart(out: Steps, c: Contour, element: Contour, frames: tuple[Frame, ...], teller: Teller) -> None:
    """Carry the tool from the end of every chain to the move that takes it away from its contour."""
    flat = np.flatnonzero(c.flat)
    last = flat[np.append(c.chain[flat][1:] != c.chain[flat][:-1], True)[: len(flat)]]
    departure = Departure(out, frames)
    departure.until(c.move[_entries(c)])
    arcs = set(out.turns.move.tolist()) if len(last) else set()
    ends = c.move[np.searchsorted(c.chain, c.chain[last], side="right") - 1]
    left: list[tuple[int, int]] = []
    for index, end in zip(last.tolist(), ends.tolist(), strict=True):
        axis = c.axis[:, index]
        aside = out.end[axis[:2], c.move[index]] - c.end[:, index]
        away = departure.carry(end, aside, axis)
        if away < len(out.line):
            left.append((index, away))
        if away in arcs:
            teller.say(
                np.array([away]),
                "compensation-ends-in-arc",
                "cutter radius compensation turned off, and the first move in the plane after it is an arc",
                "leave the contour with a straight move (G00 or G01)",
            )
    _refuse_gouging_exits(out, c, element, np.array(left, dtype=np.int64).reshape(-1, 2), teller)


def _refuse_gouging_exits(out: Steps, c: Contour, element: Contour, left: Ints, teller: Teller) -> None:
    """Report moves away from a contour that cut into its last element; ``left`` (m, 2) its place in ``c``, the move.

    Only moves at the depth of the contour are looked at, for a tool that has been lifted may go anywhere.
    """
    place, away = left.T
    axis, move = c.axis[2, place], c.move[place]
    level = np.abs(out.start[axis, away] - out.end[axis, move]) < SAME
    here = among(move, element.move) & (out.frame[away] == out.frame[move]) & level
    place, away = place[here], away[here]
    last = element.take(np.searchsorted(element.move, c.move[place]))
    touch = np.stack([out.end[last.axis[i], last.move] for i in range(2)])
    far = np.stack([out.end[last.axis[i], away] for i in range(2)])
    cut = gouges(last, touch, far, leaving=True)
    teller.say(
        away[cut],
        "compensation-exit-gouges",
        "the move that leaves the contour after cutter radius compensation cuts into it",
        "leave on the tool's side of the contour, by at least a cutter radius",
    )


def _finished(out: Steps, element: Contour, path: Beside) -> tuple[Steps, Spread]:
    """Return the moves with their arcs turned by what is left of them, rolled corners put in, empty ones out."""
    turn = out.turns.turn.copy()
    slot = np.searchsorted(out.turns.move, element.move[element.round])
    turn[slot] = path.turn[element.round]
    out = replace(out, turns=replace(out.turns, turn=turn))
    whole, spread = inserted(out, element, path)
    kept: Flags = np.max(np.abs(whole.end - whole.start), axis=0) > SAME
    kept[whole.turns.move] |= np.abs(whole.turns.turn) > np.pi
    if kept.all():
        return whole, spread
    arcs: Flags = kept[whole.turns.move]
    t = whole.turns
    whole = replace(whole, turns=t.take(arcs))
    return without(whole, kept), spread.without(kept)


def _put(column: Array, c: Contour, at: Ints, place: Array) -> None:
    """Write the places (2, m) of the moves ``at`` (m,) of ``c`` into the columns (6, n) of all moves."""
    for i in range(2):
        column[c.axis[i, at], c.move[at]] = place[i]
