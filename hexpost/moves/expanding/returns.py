"""Reference returns and tool changes spelled out, and presets: here is X Y Z."""

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import invert, pose_from_matrix, pose_matrix
from hexpost.machine.model import Machine
from hexpost.moves.expanding.draft import Row, Speller, parted
from hexpost.moves.frames.book import MACHINE
from hexpost.moves.model import HOME
from hexpost.moves.window.modes import AXES
from hexpost.units import DEG_PER_RAD

THROUGH_POINT = "through-point"
READINGS = {
    THROUGH_POINT: "rapid to the point named, then in the axes named to the reference pose",
    "direct": "the axes named go straight to the reference pose, whatever their numbers",
}
"""Readings of the words that lead home."""
ALL_AXES = "all-axes"
WITHOUT_AXES = "without axes, all of them go to the reference pose by one straight rapid, with no point on the way"
UNDER_G90 = "; under G90 that point is a place in work coordinates"


def preset(speller: Speller, row: int, words: Row, scale: float) -> None:
    """Shift the work frames so that the tool is where G92 says; ``scale``: millimetres per unit of the block."""
    at, _ = words.pop("preset")
    named = {i: words.pop(x) for i, x in enumerate(AXES) if x in words}
    turned = [word for i, word in named.items() if i >= 3]
    if turned or not named:
        speller.refuse(
            turned[0][0] if turned else at, "preset-axes", "G92 takes X, Y and Z alone; write at least one of them"
        )
        return
    speller.draft.add(row, words)
    place = speller.here()
    shift = speller.book.presets[speller.state.preset].copy()
    for i, (_, value) in named.items():
        shift[i] += place[i] - value * scale
    speller.state.preset = speller.book.preset(shift)
    speller.say("G92 shifts all work offsets until the next G92 or the end of the program")


def reference_return(speller: Speller, row: int, words: Row, scale: float, *, incremental: bool) -> None:
    """Spell out a reference return: rapid to the given point, then to the reference pose, in the axes named.

    Where the machine file says so, straight to the reference pose. Without axes, all go there straight: there is no
    point on the way.
    """
    at, code = words.pop("reference return")
    named = [x for x in AXES if x in words]
    reading = speller.machine.words.g74 if code == 74 else speller.machine.words.g28
    if reading is None:
        what = f"{speller.complaints.written(at)} leads home on some controls and taps on others"
        speller.refuse(at, "return-reading-missing", what)
        return
    bare = not named and code != 74 and speller.machine.words.bare_return == ALL_AXES
    if not (named or bare) or "machine coordinates" in words:
        what = f"{speller.complaints.written(at)} "
        what += "is in a block with G53" if "machine coordinates" in words else "has no axes"
        what += ": it takes the point on the way to the reference pose"
        speller.refuse(at, "return-axes", what, "to go there straight along Z write G91 G28 Z0")
        return
    if bare and speller.turned():
        what = f"{speller.complaints.written(at)} without axes while rotary words of [programmed_axes] are not 0"
        speller.refuse(at, "return-axes", what, "write them as 0 before it, or name the axes: G91 G28 Z0")
        return
    target = _in_machine(speller.machine, int(code))
    early, late = parted(words)
    early = early if reading == THROUGH_POINT else {key: word for key, word in early.items() if key not in AXES}
    through = UNDER_G90 if reading == THROUGH_POINT and not incremental else ""
    speller.say(f"G{code:g} {WITHOUT_AXES}" if bare else f"G{code:g}: {READINGS[reading]}{through}")
    speller.draft.add(row, {**early, "motion once": (at, 0), "led": (at, HOME)})
    back: Row = {
        "machine coordinates": (at, MACHINE),
        "motion once": (at, 0),
        "distance once": (at, 90),
        "led": (at, HOME),
    }
    for i, x in enumerate(AXES):
        if bare or x in named:
            back[x] = (words.get(x, (at, 0.0))[0], float(target[i] / scale if i < 3 else target[i] * DEG_PER_RAD))
    speller.draft.add(row, {**back, **late})


def tool_change(speller: Speller, row: int, change: tuple[int, float], scale: float) -> None:
    """Spell out a tool change: after the motion of its block rapid to where changes are made, then the change.

    That pose is where the tool change leaves the machine. A B C stay in force as the program said them, so the next
    motion in work coordinates turns the tool back to them.
    """
    assert speller.machine.tool_change is not None
    speller.flush()
    rotary = speller.state.rotary.copy()
    target = _seen_from_zero(speller.machine, speller.machine.tool_change)
    at, _ = change
    words: Row = {"machine coordinates": (at, MACHINE), "motion once": (at, 0), "distance once": (at, 90)}
    for i, x in enumerate(AXES):
        words[x] = (at, float(target[i] / scale if i < 3 else target[i] * DEG_PER_RAD))
    speller.draft.add(row, {**words, "tool change": change})
    speller.flush()
    speller.state.rotary = rotary
    speller.say("M06 is made at the pose of tool_change in the machine file, where the tool goes by rapid")


def _in_machine(machine: Machine, code: int) -> Array:
    """Return the pose (6,) in machine coordinates to which a reference return leads."""
    poses = machine.reference_return
    if poses is None:
        return np.zeros(6)
    return _seen_from_zero(machine, {28: poses.g28, 30: poses.g30, 74: poses.g74}[code])


def _seen_from_zero(machine: Machine, place: Array) -> Array:
    """Return a pose (6,) of the base frame in machine coordinates."""
    zero = pose_matrix(machine.machine_zero, machine.tilt_order)
    pose = pose_matrix(place, machine.tilt_order)
    return pose_from_matrix(invert(zero) @ pose, machine.tilt_order, near=np.zeros(6))
