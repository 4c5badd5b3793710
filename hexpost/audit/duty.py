"""What each drive bears when a job is repeated without a pause: root mean squares, and torques with their speeds.

A job that is shorter than the window of the continuous limits is looked at as many times in a row as the window holds.
A motor is chosen by its torque in the root mean square at its mean speed, and by its largest torque at the speed there
(common practice, no source).
"""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.model import Machine
from hexpost.setpoints.loads import Loads
from hexpost.setpoints.model import Setpoints
from hexpost.units import SECONDS_PER_MINUTE


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveDuty:
    """One drive: thrusts [N], torques [N m] and speeds of the motor [1/min]; limits where the machine file has them.

    ``at_peak``: the speed at the largest torque; ``speed_mean`` and ``speed_peak`` of either sense.
    """

    strut: int
    thrust_mean: float
    thrust_peak: float
    torque_mean: float
    torque_peak: float
    at_peak: float
    speed_mean: float
    speed_peak: float
    thrust_continuous: float | None
    torque_continuous: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """All drives; ``window`` [s] of the root mean squares, ``once`` [s] the job lasts."""

    window: float
    once: float
    drives: tuple[DriveDuty, ...]

    @property
    def warnings(self) -> tuple[str, ...]:
        """Return what is over a continuous limit when the job is repeated, in a sentence each."""
        out = []
        for d in self.drives:
            for what, unit, value, most in (
                ("thrust", "N", d.thrust_mean, d.thrust_continuous),
                ("torque", "N m", d.torque_mean, d.torque_continuous),
            ):
                if most is not None and value > most:
                    out.append(
                        f"Repeated without a pause, the job takes the {what} of strut {d.strut} to {value:.4g} {unit} "
                        f"(root mean square over {self.window:g} s); {most:g} are allowed continuously."
                    )
        return tuple(out)


class Repeated:
    """The largest mean (6,) over ``size`` samples, in a row or round the end of a job that begins again."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._head: Array = np.zeros((6, 0))
        self._tail: Array = np.zeros((6, 0))
        self._most, self.total, self.count = np.zeros(6), np.zeros(6), 0

    def add(self, values: Array) -> None:
        """Take the next values (6, n)."""
        if self._head.shape[1] < self._size:
            self._head = np.concatenate([self._head, values[:, : self._size - self._head.shape[1]]], axis=1)
        joined = np.concatenate([self._tail, values], axis=1)
        self._look(joined)
        self._tail = joined[:, -self._size :]
        self.total += values.sum(axis=1)
        self.count += values.shape[1]

    def mean(self) -> Array:
        """Return the largest mean (6,), after all values."""
        if not self.count:
            return np.zeros(6)
        if self.count >= self._size:
            self._look(np.concatenate([self._tail, self._head], axis=1))
            return self._most / self._size
        whole, rest = divmod(self._size, self.count)
        most = _largest(np.concatenate([self._tail, self._tail], axis=1), rest)
        return (whole * self.total + most) / self._size

    def _look(self, values: Array) -> None:
        if values.shape[1] >= self._size:
            self._most = np.maximum(self._most, _largest(values, self._size))


class DutyCount:
    """Keeps what is needed of batches that come in order: two windows of squares, and a few numbers."""

    def __init__(self, machine: Machine, loads: Loads) -> None:
        assert machine.forces is not None  # every loaded machine has them
        self._machine, self._loads = machine, loads
        size = max(round(machine.forces.window / machine.period), 1)
        self._means = {"thrust": Repeated(size), "torque": Repeated(size)}
        self._turns = np.array([0.0 if s.screw is None else s.screw.gear / s.screw.lead for s in machine.struts])
        self._thrust, self._torque, self._at = np.zeros(6), np.zeros(6), np.zeros(6)
        self._speed, self._fastest = np.zeros(6), np.zeros(6)

    def add(self, setpoints: Setpoints) -> None:
        """Take the next batch."""
        load = self._loads.of(setpoints)
        self._means["thrust"].add(load.thrust**2)
        self._means["torque"].add(load.torque**2)
        size, speed = np.abs(load.torque), np.abs(setpoints.speed)
        top = size.argmax(axis=1)
        largest = np.take_along_axis(size, top[:, None], axis=1)[:, 0]
        more = largest > self._torque
        self._torque = np.where(more, largest, self._torque)
        self._at = np.where(more, np.take_along_axis(speed, top[:, None], axis=1)[:, 0], self._at)
        self._thrust = np.maximum(self._thrust, np.abs(load.thrust).max(axis=1))
        self._speed += speed.sum(axis=1)
        self._fastest = np.maximum(self._fastest, speed.max(axis=1))

    def result(self) -> Duty:
        """Return what is told of the whole job."""
        forces, count = self._machine.forces, max(self._means["thrust"].count, 1)
        assert forces is not None
        thrust, torque = (np.sqrt(self._means[name].mean()) for name in ("thrust", "torque"))
        per_minute = self._turns * SECONDS_PER_MINUTE
        mean = self._speed / count * per_minute
        drives = []
        for k, s in enumerate(self._machine.struts):
            drives.append(
                DriveDuty(
                    strut=k + 1, thrust_mean=float(thrust[k]), thrust_peak=float(self._thrust[k]),
                    torque_mean=float(torque[k]), torque_peak=float(self._torque[k]),
                    at_peak=float(self._at[k] * per_minute[k]), speed_mean=float(mean[k]),
                    speed_peak=float(self._fastest[k] * per_minute[k]),
                    thrust_continuous=None if s.screw is None else s.screw.thrust_continuous,
                    torque_continuous=None if s.screw is None else s.screw.torque_continuous,
                )
            )  # fmt: skip
        once = (self._means["thrust"].count - 1) * self._machine.period
        return Duty(window=forces.window, once=max(once, 0.0), drives=tuple(drives))


def _largest(values: Array, size: int) -> Array:
    """Return the largest sums (6,) of so many values (6, n) in a row."""
    sums = np.cumsum(np.concatenate([np.zeros((6, 1)), values], axis=1), axis=1)
    out: Array = (sums[:, size:] - sums[:, : sums.shape[1] - size]).max(axis=1)
    return out
