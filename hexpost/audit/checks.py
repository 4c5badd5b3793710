"""The table of all checks; a new limit is one row here and one name in ``LIMITS``."""

from hexpost.audit.band import Maker
from hexpost.audit.deviation import Deviation
from hexpost.audit.pallet import Pallet
from hexpost.audit.strut_limits import acceleration, jerk, speed, stroke

CHECKS: tuple[Maker, ...] = (stroke, speed, acceleration, jerk, Deviation, Pallet)
"""Checks of the samples, in the order of the report."""
