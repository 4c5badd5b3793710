"""Where the struts are at the samples of a block, worked out once for all checks that ask."""

from collections.abc import Sequence

from hexpost.arrays import Ints
from hexpost.kinematics.links import Links, links
from hexpost.kinematics.struts import StrutModel, Struts
from hexpost.machine.model import Machine
from hexpost.moves.model import Frame
from hexpost.setpoints.model import Setpoints


class Attitudes:
    """The struts in the frame of the block at hand, and their attitudes at its samples; the last answers are kept."""

    def __init__(self, machine: Machine, frames: Sequence[Frame]) -> None:
        self._model = StrutModel(machine)
        self._frames = frames
        self._struts: tuple[int, Struts] | None = None
        self._links: tuple[Setpoints, Links] | None = None

    def frame(self, setpoints: Setpoints) -> Frame:
        """Return the frame of a block."""
        return self._frames[setpoints.poses.frame]

    def struts(self, setpoints: Setpoints) -> Struts:
        """Return the struts as seen from the frame of a block."""
        number = setpoints.poses.frame
        if self._struts is None or self._struts[0] != number:
            frame = self._frames[number]
            self._struts = (number, self._model.in_frame(frame.base_from_work, frame.tip))
        return self._struts[1]

    def links(self, setpoints: Setpoints) -> Links:
        """Return the struts at the samples of a block."""
        if self._links is None or self._links[0] is not setpoints:
            known = setpoints.links
            found = links(self.struts(setpoints), setpoints.poses.pose, setpoints.length) if known is None else known
            self._links = (setpoints, found)
        return self._links[1]

    def some(self, setpoints: Setpoints, at: Ints) -> Links:
        """Return the struts at the samples ``at`` (m,) of a block."""
        if setpoints.links is not None or (self._links is not None and self._links[0] is setpoints):
            return self.links(setpoints).at(at)
        return links(self.struts(setpoints), setpoints.poses.pose[:, at], setpoints.length[:, at])
