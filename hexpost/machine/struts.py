"""The tables of one strut beside its geometry: joint, screw, thermal, body; every key has a default."""

from math import inf, isfinite, isnan, pi

import numpy as np

from hexpost.arrays import Array, frozen
from hexpost.kinematics.servo import Loop
from hexpost.machine.model import Body, Range, Screw, Servo, Thermal, Universal
from hexpost.machine.table import Table

ENDS = ("fixed-free", "supported-supported", "fixed-supported", "fixed-fixed")
"""How the two ends of a screw are held."""

SPREAD = "temperature_uncertainty_k"
COLDEST_C, HOTTEST_C, MOST_SPREAD_K = -60.0, 150.0, 100.0
"""Range of temperatures: what lies outside is another unit."""

MOST_GAIN, MOST_SHARE, MOST_BACKLASH_MM = 1e4, 1.5, 5.0
"""No position loop or bandwidth is higher, no more is fed forward, nothing plays so much: another unit is meant."""

PERPENDICULAR = 1e-3
"""Largest cosine between the axes of a joint: an axis rounded to three digits passes."""


def universal(t: Table, end: str) -> Universal | None:
    """Return the universal joint at the ``end`` (base, platform) of a strut; ``None`` where no key is about it.

    Axes that are not given are nan: they take their default from the reference pose.
    """
    keys = [
        f"{end}_{part}" for part in ("outer_axis", "inner_axis", "cone_deg", "outer_deg", "inner_deg", "stiffness_n_um")
    ]
    given = [t.has(key) for key in keys]
    unknown = np.full(3, np.nan)
    outer, inner = (_axis(t, key) if there else unknown for key, there in zip(keys[:2], given[:2], strict=True))
    if given[0] != given[1]:
        t.fault(keys[given[0]], f"is missing beside {keys[given[1]]}; give both axes or neither", "missing-key")
    elif given[0] and abs(outer @ inner) > PERPENDICULAR:
        angle = float(np.degrees(np.arccos(np.clip(outer @ inner, -1.0, 1.0))))
        t.fault(keys[1], f"is at {angle:.2f} degrees to {keys[0]}; make it 90", "bad-value")
    elif given[0]:
        inner = inner - (outer @ inner) * outer
        inner /= np.linalg.norm(inner)
    cone = t.positive(keys[2], most=90.0) if given[2] else None
    ranges = [_range(t, key) if there else None for key, there in zip(keys[3:5], given[3:5], strict=True)]
    if not any(given):
        return None
    return Universal(
        outer=frozen(outer), inner=frozen(inner), cone=cone, outer_range=ranges[0], inner_range=ranges[1],
        stiffness=_stiffness(t, keys[5]),
    )  # fmt: skip


def screw(t: Table) -> Screw:
    """Return the screw and its motor; only ``lead_mm`` is needed."""
    efficiency = t.positive("efficiency", default=0.9, most=1.0)
    root = _optional(t, "root_diameter_mm")
    bore = t.number("bore_mm", 0.0, least=0.0)
    if root is not None and bore >= root:
        t.fault("bore_mm", f"is {bore:g}; it must be below root_diameter_mm, {root:g}", "bad-value")
    out = Screw(
        lead=t.positive("lead_mm", most=1000.0),
        hand=1 if t.choice("hand", ("right", "left"), "right") == "right" else -1,
        zero=t.number("zero_mm", 0.0),
        gear=t.positive("gear_ratio", default=1.0),
        counts=_optional(t, "counts_per_turn"),
        efficiency=efficiency,
        back_efficiency=t.positive("back_efficiency", default=efficiency, most=1.0),
        inertia=t.number("inertia_kg_m2", 0.0, least=0.0),
        root=root,
        bore=bore,
        supported=t.number("supported_mm", 0.0, least=0.0),
        ends=t.choice("ends", ENDS, "fixed-supported"),
        elasticity=t.positive("elasticity_gpa", default=206.0) * 1e3,
        density=t.positive("density_kg_m3", default=7850.0),
        critical_speed_share=t.positive("critical_speed_share", default=0.8, most=1.0),
        buckling_share=t.positive("buckling_share", default=0.5, most=1.0),
        thrust=_optional(t, "thrust_n"),
        thrust_continuous=_optional(t, "thrust_continuous_n"),
        torque=_optional(t, "torque_nm"),
        torque_continuous=_optional(t, "torque_continuous_nm"),
        power=_optional(t, "power_w"),
    )
    if out.back_efficiency > out.efficiency:
        what = f"is {out.back_efficiency:g}; it must be at most efficiency, {out.efficiency:g}"
        t.fault("back_efficiency", what, "bad-value")
    for name, unit, most, lasting in (
        ("thrust", "n", out.thrust, out.thrust_continuous),
        ("torque", "nm", out.torque, out.torque_continuous),
    ):
        if most is not None and lasting is not None and lasting > most:
            what = f"is {lasting:g}; it must be at most {name}_{unit}, {most:g}"
            t.fault(f"{name}_continuous_{unit}", what, "bad-value")
    t.close()
    return out


def thermal(t: Table) -> Thermal:
    """Return how warm a strut is; the expansion of steel is that of D. A. Swyt, J. Res. NIST 99, 31 (1994)."""
    out = Thermal(
        expansion=t.positive("expansion_ppm_k", default=11.5, most=1000.0) * 1e-6,
        temperature=_celsius(t, "temperature_c"),
        reference=_celsius(t, "reference_c"),
        heated=_optional(t, "heated_mm"),
        spread=t.positive(SPREAD, most=MOST_SPREAD_K) if t.has(SPREAD) else None,
    )
    t.close()
    return out


def servo(t: Table) -> Servo:
    """Return the position loop; only ``position_gain_1_s`` is needed. A loop that swings up is refused."""
    known = t.has("bandwidth_hz")
    loop = Loop(
        gain=t.positive("position_gain_1_s", most=MOST_GAIN),
        speed_share=t.number("speed_feed_forward", 0.0, least=0.0, most=MOST_SHARE),
        acceleration_share=t.number("acceleration_feed_forward", 0.0, least=0.0, most=MOST_SHARE),
        frequency=t.positive("bandwidth_hz", most=MOST_GAIN) * 2.0 * pi if known else inf,
        damping=t.positive("damping", default=0.7, most=10.0),
    )
    out = Servo(loop=loop, backlash=t.number("backlash_mm", 0.0, least=0.0, most=MOST_BACKLASH_MM))
    for key in ("acceleration_feed_forward", "damping"):
        if t.has(key) and not known:
            t.fault(key, "needs bandwidth_hz beside it, the inner loop that it is about", "missing-key")
    if isfinite(loop.gain + loop.damping) and not isnan(loop.frequency) and not loop.stable:
        what = f"is {loop.gain:g}; with this inner loop it must be below 4 pi damping bandwidth_hz"
        hint = f"that is {2.0 * loop.damping * loop.frequency:.5g}: from there on the loop swings up"
        t.fault("position_gain_1_s", what, "bad-value", hint)
    t.close()
    return out


def body(t: Table) -> Body:
    """Return the body of a strut."""
    out = Body(
        radius=_optional(t, "radius_mm"),
        platform_end_kg=t.number("platform_end_kg", 0.0, least=0.0),
        stiffness=_stiffness(t, "stiffness_n_um"),
    )
    t.close()
    return out


def _stiffness(t: Table, key: str) -> float | None:
    """Return a stiffness in N/mm, or ``None`` where there is no such key."""
    found = _optional(t, key)
    return None if found is None else found * 1e3


def _axis(t: Table, key: str) -> Array:
    """Return a direction (3,) as a unit vector."""
    row = t.numbers(key, "x y z")
    length = float(np.linalg.norm(row))
    if length == 0.0:
        t.fault(key, "has no length; write for example [1, 0, 0]", "bad-value")
    return row / length if length > 0.0 else np.full(3, np.nan)


def _range(t: Table, key: str) -> Range:
    """Return two rising angles, rad."""
    low, high = np.radians(t.numbers(key, "lowest highest", farthest=180.0))
    if low >= high:
        what = f"is [{np.degrees(low):g}, {np.degrees(high):g}]; the second must be above the first"
        t.fault(key, what, "bad-value")
    return float(low), float(high)


def _optional(t: Table, key: str) -> float | None:
    """Return a number above 0, or ``None`` where there is no such key."""
    if t.has(key):
        return t.positive(key)
    return None


def _celsius(t: Table, key: str) -> float:
    """Return a temperature; default 20 degrees Celsius, the reference temperature of ISO 1."""
    value = t.number(key, 20.0)
    if not COLDEST_C <= value <= HOTTEST_C:
        bound = f"at least {COLDEST_C:g}" if value < COLDEST_C else f"at most {HOTTEST_C:g}"
        what = f"is {value:g} degrees Celsius; it must be {bound}"
        kelvin = COLDEST_C <= value - 273.15 <= HOTTEST_C
        t.fault(key, what, "bad-value", f"{value:g} kelvin are {value - 273.15:g} degrees Celsius" if kelvin else "")
    return value
