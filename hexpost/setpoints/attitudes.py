"""Where the struts are at the samples of a batch, worked out once for all checks that ask."""

from collections.abc import Sequence

from hexpost.arrays import Array, Ints
from hexpost.kinematics.inverses import inverse_rows
from hexpost.kinematics.links import Links, links
from hexpost.kinematics.struts import StrutModel, Struts
from hexpost.last_answer import LastAnswer
from hexpost.machine.model import Machine
from hexpost.moves.model import Frame
from hexpost.setpoints.model import Setpoints


class Attitudes:
    """The struts in the frame of the batch at hand, and their attitudes at its samples; the last answers are kept."""

    def __init__(self, machine: Machine, frames: Sequence[Frame]) -> None:
        self._model = StrutModel(machine)
        self._frames = frames
        self._struts: LastAnswer[int, Struts] = LastAnswer()
        self._links: LastAnswer[Setpoints, Links] = LastAnswer()
        self._inverses: LastAnswer[Setpoints, Array] = LastAnswer()

    def frame(self, setpoints: Setpoints) -> Frame:
        """Return the frame of a batch."""
        return self._frames[setpoints.poses.frame]

    def struts(self, setpoints: Setpoints) -> Struts:
        """Return the struts as seen from the frame of a batch."""
        frame = self.frame(setpoints)
        return self._struts.of(setpoints.poses.frame, lambda: self._model.in_frame(frame.base_from_work, frame.tip))

    def links(self, setpoints: Setpoints) -> Links:
        """Return the struts at the samples of a batch."""
        if setpoints.links is not None:
            return setpoints.links
        return self._links.of(setpoints, lambda: links(self.struts(setpoints), setpoints.poses.pose, setpoints.length))

    def inverses(self, setpoints: Setpoints) -> Array:
        """Return the inverse Jacobians (36, n), row by row, at the samples of a batch, straight between some."""
        return self._inverses.of(setpoints, lambda: inverse_rows(self.struts(setpoints), setpoints.poses.pose))

    def some(self, setpoints: Setpoints, at: Ints) -> Links:
        """Return the struts at the samples ``at`` (m,) of a batch."""
        if setpoints.links is not None or self._links.knows(setpoints):
            return self.links(setpoints).take(at)
        return links(self.struts(setpoints), setpoints.poses.pose[:, at], setpoints.length[:, at])
