"""Work frames, machine coordinates and tool lengths as frames, and a pose seen from another frame."""

from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, frozen
from hexpost.kinematics.frames import invert, pose_from_matrix, pose_matrix, turn
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.moves.frames.chain import AxisChain
from hexpost.moves.model import Frame
from hexpost.moves.window.state import Key

MACHINE = 53
"""Offset code that stands for machine coordinates."""
SAME = 1e-9
"""Millimetres within which two computed points are one: a thousandth of what the table shows."""
SAME_ANGLE = 1e-12
"""Radians within which two computed angles are one: rounding of a product of rotations."""


class FrameBook:
    """The frames of a program, made when first used; a key names a frame, its number is its place in ``frames``."""

    def __init__(self, machine: Machine, tools: Tools, setup: Setup) -> None:
        self.machine, self.tools, self.setup = machine, tools, setup
        self.frames: list[Frame] = []
        self.numbers: dict[int, int] = {}
        self.pieces = 0  # into which moves of other axes were cut so far
        self.presets: list[Array] = [np.zeros(3)]
        self.base_from_pallet = pose_matrix(machine.pallet.pose, machine.tilt_order)
        self.base_from_pallet[:3, 3] += setup.lift * self.base_from_pallet[:3, 2]
        axes = machine.programmed_axes
        self.chain = None if axes is None or axes.vector else AxisChain(axes, machine.tilt_order)

    def preset(self, shift: Array) -> int:
        """Return the number of a shift (3,) of all work frames along their own axes."""
        self.presets.append(shift)
        return len(self.presets) - 1

    def number(self, key: int) -> int:
        """Return the place in ``frames`` of the frame of a key."""
        if key not in self.numbers:
            self.numbers[key] = len(self.frames)
            self.frames.append(self._frame(Key.of(key)))
        return self.numbers[key]

    def frame(self, key: int) -> Frame:
        """Return the frame of a key."""
        return self.frames[self.number(key)]

    def with_own_length(self, key: Key) -> Key:
        """Return the key with the length of the tool in the spindle in force, as far as it is known.

        A program may have another in force, or none, between a tool change and the next length.
        """
        if key.tool in (0, key.row):
            return key
        own = key.tool in self.tools.tools
        return replace(key, length=43 if own else 49, row=key.tool if own else 0)

    def made(self, key: int) -> Frame:
        """Return the frame of a key without a place among those that the program uses."""
        return self.frames[self.numbers[key]] if key in self.numbers else self._frame(Key.of(key))

    def _frame(self, key: Key) -> Frame:
        """Return a new frame; a row or an offset that is missing counts as zero (it is reported elsewhere)."""
        gauge, order = self.machine.platform.gauge_point, self.machine.tilt_order
        if key.offset == MACHINE:
            zero = pose_matrix(self.machine.machine_zero, order)
            return Frame(
                base_from_work=frozen(zero), tip=frozen(gauge), offset="G53", tool=key.tool, length_row=0, length=0.0
            )
        name = f"G{key.offset}"
        pose = self.setup.offsets.get(name)
        work = self.base_from_pallet if pose is None else self.base_from_pallet @ pose_matrix(pose, order)
        work = work.copy()
        work[:3, 3] += work[:3, :3] @ self.presets[key.preset]
        row = self.tools.tools.get(key.row)
        length = 0.0 if row is None or key.length == 49 else row.length if key.length == 43 else -row.length
        return Frame(
            base_from_work=frozen(work),
            tip=frozen(gauge - np.array([0.0, 0.0, length])),
            offset=name,
            tool=key.tool,
            length_row=key.row,
            length=length,
            yaw=self.setup.yaw,
        )

    def seen(self, pose: Array, source: Frame, target: Frame, near: Array) -> Array:
        """Return where the tool is, a ``pose`` (6,) of ``source``, as a pose of ``target``; nothing moves.

        The platform stands still, so only the tip's place in it and the frame around it change:
        target_from_tip' = target_from_base base_from_source source_from_tip tip_from_tip'. Of the angles that mean
        the same orientation those nearest to ``near`` (3,) come back, and those equal to it but for rounding are it.
        """
        order = self.machine.tilt_order
        matrix = pose_matrix(pose, order)
        matrix[:3, 3] += matrix[:3, :3] @ (target.tip - source.tip)
        matrix[:3, :3] = matrix[:3, :3] @ turn(2, source.yaw - target.yaw)
        if np.array_equal(source.base_from_work, target.base_from_work) and source.yaw == target.yaw:
            return np.concatenate((matrix[:3, 3], pose[3:]))
        matrix = invert(target.base_from_work) @ source.base_from_work @ matrix
        found = pose_from_matrix(matrix, order, near=np.concatenate((np.zeros(3), near)))
        found[3:] = np.where(np.abs(found[3:] - near) < SAME_ANGLE, near, found[3:])
        return found


def start_frame(machine: Machine) -> Frame:
    """Return the frame in which a start pose is given: the gauge point in the base frame."""
    tip = frozen(machine.platform.gauge_point)
    return Frame(base_from_work=frozen(np.eye(4)), tip=tip, offset="base", tool=0, length_row=0, length=0.0)
