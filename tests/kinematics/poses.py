"""Poses and motions within reach of the demonstration machine, for the tests of kinematics."""

import numpy as np

from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.struts import StrutModel
from hexpost.machine.load import demonstration_machine

MACHINE = demonstration_machine()
BASE_FROM_WORK = pose_matrix(np.array([20.0, -10.0, 500.0, 0.07, -0.05, 0.4]), "ABC")
TIP = MACHINE.platform.gauge_point - np.array([0.0, 0.0, 120.0])


def demonstration_struts():
    return StrutModel(MACHINE).in_frame(BASE_FROM_WORK, TIP)


def motion(n, seed, orders=3, moving="XYZABC"):
    """Poses, rates, accelerations ... (6, n); coordinates that are not ``moving`` rest at 0."""
    rng = np.random.default_rng(seed)
    sizes = np.array([300, 300, 100, 0.4, 0.4, 0.4])[:, None]
    scales = np.array([1.0, 3.0, 20.0, 200.0])
    mask = np.array([axis in moving for axis in "XYZABC"])[:, None]
    return [rng.uniform(-1, 1, (6, n)) * sizes * scales[k] * mask for k in range(orders)]
