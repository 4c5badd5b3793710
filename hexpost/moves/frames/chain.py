"""Programs posted for another five-axis machine: its words turned into the tip and the tool axis in the part."""

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import angles_of
from hexpost.machine.wording import ProgrammedAxes, RotaryAxis

LETTERS = "ABC"


class AxisChain:
    """The chain of rotary axes of the machine that programs were posted for; ``order`` is that of A B C here.

    What a table carries, the part, turns against its word, what a head carries, the tool, turns with it, so that the
    tool turns about the part in the sense of ISO 841 (``sense`` -1: the other way). Axes are listed from the bed
    outwards. The centres of table axes are in the work frame; those of head axes are seen from the spindle gauge
    point, with the axes of the work frame, all words 0.
    """

    def __init__(self, axes: ProgrammedAxes, order: str) -> None:
        self.order, self.tip = order, axes.tip
        self._table = [axis for axis in axes.axes if axis.carries == "table"]
        self._head = [axis for axis in axes.axes if axis.carries == "head"]
        self.letters = "".join(axis.word for axis in axes.axes)

    def poses(self, words: Array, length: float | Array) -> Array:
        """Return tip and A B C (6, n) in the work frame where the program says ``words`` (6, n: mm, rad).

        ``length`` [mm] is the active tool length, which matters with head axes and X Y Z of the machine alone. The
        tool is tilted to its axis without turning about it: R = I + [v] + [v]^2 / (1 + c), v = z x axis, c = z . axis
        (Rodrigues), so many turns of a rotary axis of a tilted tool lead around, and none is counted.
        """
        table, head = self._turns(words)
        out = np.empty_like(words)
        out[3:] = angles_of(tilted(np.einsum("jin,jkn,k->in", table, head, np.array([0.0, 0.0, 1.0]))), self.order)
        out[:3] = words[:3] if self.tip else self._part(self._bed(words, length), words)
        return out

    def angles(self, rotary: Array) -> Array:
        """Return A B C (3,) in the work frame where the rotary words are ``rotary`` (3,)."""
        return self.poses(np.concatenate((np.zeros(3), rotary))[:, None], 0.0)[3:, 0]

    def along(self, rotary: Array) -> Array:
        """Return the axis of the tool (3,) in the coordinates that X Y Z are programmed in."""
        table, head = self._turns(np.concatenate((np.zeros(3), rotary))[:, None])
        tool: Array = head[:, 2, 0]
        return table[:, :, 0].T @ tool if self.tip else tool

    def moved(self, words: Array) -> Array:
        """Return where (n,) X Y Z of the machine are not those of the tip in the part but for a shift."""
        table, _ = self._turns(words)
        turned: Array = np.abs(table - np.eye(3)[:, :, None]).max(axis=(0, 1))
        return turned * (not self.tip)

    def words(self, pose: Array, rotary: Array, length: float) -> Array:
        """Return what a program says (6,) with the tip at ``pose`` (6,) and the rotary words ``rotary`` (3,)."""
        out = np.concatenate((pose[:3], rotary))
        if not self.tip:
            none = np.concatenate((np.zeros(3), rotary))[:, None]
            at_zero = self.poses(none, length)[:3]
            table, _ = self._turns(none)
            out[:3] = table[:, :, 0] @ (pose[:3] - at_zero[:, 0])
        return out

    def _turns(self, words: Array) -> tuple[Array, Array]:
        """Return how table and head have turned (3, 3, n)."""
        count = words.shape[1]
        found = []
        for chain, way in ((self._table, -1.0), (self._head, 1.0)):
            turned: Array = np.repeat(np.eye(3)[:, :, None], count, axis=2)
            for axis in chain:
                turned = np.einsum("ijn,jkn->ikn", turned, about(axis, words, way))
            found.append(turned)
        return found[0], found[1]

    def _bed(self, words: Array, length: float | Array) -> Array:
        """Return the tip (3, n) seen from the bed; X Y Z say where it would be with the head at 0."""
        arm = np.zeros_like(words[:3])
        arm[2] = -np.asarray(length)
        for axis in reversed(self._head):
            centre = axis.centre[:, None]
            arm = centre + np.einsum("ijn,jn->in", about(axis, words, 1.0), arm - centre)
        arm[2] += length
        out: Array = words[:3] + arm
        return out

    def _part(self, bed: Array, words: Array) -> Array:
        """Return points (3, n) of the bed as seen from the part."""
        for axis in self._table:
            centre = axis.centre[:, None]
            bed = centre + np.einsum("jin,jn->in", about(axis, words, -1.0), bed - centre)
        return bed


def about(axis: RotaryAxis, words: Array, way: float) -> Array:
    """Return the turns (3, 3, n) of what ``axis`` carries; ``way`` is -1 for a table (Rodrigues)."""
    angle = words[3 + LETTERS.index(axis.word)] * (way * axis.sense)
    cross = _cross(axis.direction[:, None])
    out: Array = np.eye(3)[:, :, None] + np.sin(angle) * cross
    out += (1.0 - np.cos(angle)) * np.einsum("ijn,jkn->ikn", cross, cross)
    return out


def _cross(v: Array) -> Array:
    """Return the matrices (3, 3, n) of cross products with ``v`` (3, n)."""
    out = np.zeros((3, 3, v.shape[1]))
    out[2, 1], out[0, 2], out[1, 0] = v
    out[1, 2], out[2, 0], out[0, 1] = -v
    return out


def tilted(axis: Array) -> Array:
    """Return the rotations (3, 3, n) that tilt z to unit vectors ``axis`` (3, n) without a turn about it."""
    zero = np.zeros_like(axis[0])
    cross = _cross(np.stack((-axis[1], axis[0], zero)))
    out: Array = np.eye(3)[:, :, None] + cross
    out += np.einsum("ijn,jkn->ikn", cross, cross) / np.maximum(1.0 + axis[2], 1e-12)
    return out
