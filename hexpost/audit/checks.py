"""The table of all checks; a new limit is one row here and one name in ``LIMITS``."""

from hexpost.audit.band import Maker
from hexpost.audit.deviation import Deviation
from hexpost.audit.joint_angle import joint_angle
from hexpost.audit.load_limits import BEARINGS
from hexpost.audit.pallet import Pallet
from hexpost.audit.room import clearance, conditioned
from hexpost.audit.strut_limits import acceleration, jerk, speed, stroke

CHECKS: tuple[Maker, ...] = (
    stroke,
    speed,
    acceleration,
    jerk,
    joint_angle,
    *BEARINGS,
    conditioned,
    clearance,
    Deviation,
    Pallet,
)
"""Checks of the samples, in the order of the report."""
