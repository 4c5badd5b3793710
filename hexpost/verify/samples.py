"""The cheap part of a proof, on samples as they stream, before there is a table: path, singular poses, stops."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from hexpost.arrays import Array, Ints, Lines
from hexpost.verify.columns import ACCELERATION, GROUPS, LENGTH, SPEED
from hexpost.verify.model import Check
from hexpost.verify.rows import Rows
from hexpost.verify.settings import JobInputs
from hexpost.verify.singular import SingularPoses
from hexpost.verify.struts import Angles
from hexpost.verify.told import Told
from hexpost.verify.way import Way

LEFT = ("feeds", "other limits", "events")
"""What this part of a proof does not look at; that of a job folder does."""


class SampleProof:
    """Takes the samples of a job, batch by batch, as a table would hold them: rounded to its decimals."""

    def __init__(self, inputs: JobInputs, period: float) -> None:
        machine = inputs.machine
        self._period = period
        self._way = Way(inputs, period)
        self._singular = SingularPoses(machine, Angles(machine.tilt_order).matrices(machine.reference[3:, None])[0])
        self._last: Rows | None = None

    def add(self, length: Array, speed: Array, acceleration: Array, line: Lines) -> None:
        """Take the next samples: lengths, speeds, accelerations (6, n), lines (n,)."""
        if not len(line):
            return
        rows = _rows((length, speed, acceleration), line.astype(np.int64), self._last, self._period)
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # what is no number fails every check
            for placed in self._way.pieces(rows):
                self._singular.add(rows, placed)
        self._last = rows

    def finish(self, report: Mapping[str, Any]) -> list[Check]:
        """Return the checks, after all samples; what the report says of singular poses is compared with them."""
        last = self._last
        self._way.finish(0 if last is None else last.first + last.old + last.count)
        return [self._way.path(), self._singular.check(Told(report)), self._way.stops()]


def _rows(columns: tuple[Array, Array, Array], line: Ints, last: Rows | None, period: float) -> Rows:
    """Return columns (6, n) as rows, the ``last`` one of the batch before ahead of them."""
    old = 0 if last is None else 1
    before = () if last is None else (last.length, last.speed, last.acceleration)
    first = 0 if last is None else last.first + last.old + last.count
    rounded = []
    for k, (group, values) in enumerate(zip((LENGTH, SPEED, ACCELERATION), columns, strict=True)):
        scale = 10.0 ** GROUPS[group].decimals
        out: Array = np.empty((6, old + len(line)))
        np.rint(np.multiply(values, scale, out=out[:, old:]), out=out[:, old:])
        out[:, old:] /= scale
        if before:
            out[:, 0] = before[k][:, -1]
        rounded.append(out)
    number = np.arange(first - old, first + len(line))
    return Rows(
        first=first - old, old=old, micros=number * round(period * 1e6), length=rounded[0], speed=rounded[1],
        acceleration=rounded[2], line=line if last is None else np.append(last.line[-1:], line),
        whole=np.zeros((6, 0), dtype=np.int64),
    )  # fmt: skip
