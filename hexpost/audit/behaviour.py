"""What a machine does along a job beside its limits, as far as its file describes it."""

from dataclasses import dataclass

from hexpost.audit.banding import Banding, TipBands, spread_known
from hexpost.audit.duty import Duty, DutyCount
from hexpost.audit.forecast import Followed, Forecast, Forecasting
from hexpost.audit.sagging import Sag, Sagging
from hexpost.audit.shaking import Shaken, Shaking
from hexpost.machine.elastic import springs
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.loads import Loads
from hexpost.setpoints.model import Setpoints


@dataclass(frozen=True, slots=True, kw_only=True)
class Behaviour:
    """Each ``None`` where the machine file does not say what it takes.

    ``forecast``: what position loops make of the job; ``sag``: how far struts give way; ``shaken``: how the platform
    vibrates; ``duty``: what drives bear; ``bands``: how far the tip may be off by what is not known of the machine.
    """

    forecast: Forecast | None = None
    sag: Sag | None = None
    shaken: Shaken | None = None
    duty: Duty | None = None
    bands: TipBands | None = None


NOT_DESCRIBED = Behaviour()


class Behaving:
    """Takes batches that come in order; memory does not grow with the job."""

    def __init__(self, machine: Machine, moves: Moves, poses: Attitudes, loads: Loads) -> None:
        self._most = machine.tool_tip.contour
        lags, geared = any(s.servo for s in machine.struts), all(s.screw for s in machine.struts)
        self.forecasting = Forecasting(machine, moves, poses) if lags else None
        self.shaking = Shaking(machine, poses) if springs(machine) is not None else None
        self._sagging = Sagging(machine, moves, poses, loads) if machine.compensation is not None else None
        self._duty = DutyCount(machine, loads) if geared else None
        self._banding = Banding(machine, moves, poses, loads) if spread_known(machine) else None

    @property
    def followed(self) -> tuple[Followed, ...]:
        """Return what is forecast along the job."""
        if self.forecasting is None:
            return ()
        title, off = "Forecast: the tip off its path in feed moves", self.forecasting.off_path
        return (Followed(name="off-path", title=title, unit="mm", measure=off, most=self._most),)

    def add(self, setpoints: Setpoints) -> None:
        """Take the next batch."""
        for found in (self.forecasting, self.shaking):
            if found is not None:
                found.of(setpoints)
        for kept in (self._sagging, self._duty, self._banding):
            if kept is not None:
                kept.add(setpoints)

    def result(self, *, seen: bool) -> Behaviour:
        """Return what was found; ``seen``: whether there was any sample."""
        return Behaviour(
            forecast=self.forecasting.result() if self.forecasting else None,
            sag=self._sagging.result() if self._sagging else None,
            shaken=self.shaking.result() if self.shaking and seen else None,
            duty=self._duty.result() if self._duty else None,
            bands=self._banding.result() if self._banding else None,
        )
