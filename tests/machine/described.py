"""The demonstration machine with every optional table, for the tests of joints, screws, forces and room."""

import re

from hexpost.machine.load import DEMONSTRATION, machine_from

PLAIN = DEMONSTRATION.read_text()
STRUT = """
[strut.joint]
base_cone_deg = 40
platform_cone_deg = 60

[strut.screw]
lead_mm = 20
hand = "right"
zero_mm = 900
gear_ratio = 1.5
counts_per_turn = 8192
efficiency = 0.9
back_efficiency = 0.8
inertia_kg_m2 = 0.004
root_diameter_mm = 60
supported_mm = 600
ends = "fixed-supported"
thrust_n = 12000
thrust_continuous_n = 6000
torque_nm = 45
torque_continuous_nm = 25
power_w = 20000

[strut.thermal]
temperature_c = 24

[strut.body]
radius_mm = 60
platform_end_kg = 15
stiffness_n_um = 150
"""
REST = """
[forces]
gravity_m_s2 = [0, 0, -9.81]
force_n = [300, 0, 150]
moment_nm = [0, 0, 5]
window_s = 2

[spindle]
radius_mm = 70

[[keep_out]]
name = "column"
low_mm = [-150, 1300, 0]
high_mm = [150, 1500, 2500]

[health]
conditioning = 0.05
clearance_mm = 20

[times]
tool_change_s = 12
spindle_start_s = 2.5
spindle_reverse_s = 4
attended_stop_s = 60
"""


def text(strut: str = STRUT, rest: str = REST) -> str:
    """Return the machine file with ``strut`` after each strut and ``rest`` at the end."""
    return re.sub(r"^jerk_mm_s3 = 700000.*$", lambda m: m[0] + "\n" + strut, PLAIN, flags=re.MULTILINE) + rest


def described(strut: str = STRUT, rest: str = REST):
    """Return the machine itself."""
    return machine_from(text(strut, rest).encode(), "described.toml")
