"""A calibration told as text, as JSON and as a machine file; a plan of poses as CSV."""

from math import isfinite

import numpy as np

from hexpost.arrays import Array
from hexpost.documents import measured
from hexpost.kinematics.frames import pose_from_matrix
from hexpost.machine.load import machine_from
from hexpost.setup.calibrate import CONFIDENCE, Calibration
from hexpost.setup.choose_poses import PosePlan
from hexpost.setup.files import number, provenance, with_struts, with_table
from hexpost.setup.measured import ANGLES, LENGTHS, LOAD, POSITION
from hexpost.setup.observe import GEOMETRY, nominal
from hexpost.setup.points import correlation
from hexpost.setup.stiffness_report import parts_document, parts_lines, stiffness_values
from hexpost.units import DEG_PER_RAD

NAMES = tuple(
    f"strut {k} {what}"
    for k in range(1, 7)
    for what in ("base x", "base y", "base z", "platform x", "platform y", "platform z", "offset")
)
LOUD = 10.0
"""Noise of so many times the stated uncertainty is no noise."""
MICRO, KILO = 1e3, 1e3
"""Micrometres in a millimetre, newtons in a kilonewton."""


def machine_text(c: Calibration) -> str:
    """Return the machine file with the geometry found; the offsets of the lengths go to the zero of the screws.

    A machine file without screws has no key for them: they stand in its comments, for the homing of the drives.

    Raises
    ------
    InputError
        When the machine found is one that is refused, as ``hexpost machine check`` would, or a stiffness is open.
    """
    built = c.found.built
    values = []
    notes = [
        *provenance("calibrate", {c.columns.file: c.columns.source, c.machine.file: c.machine.source}),
        (
            f"{int(c.found.kept.sum())} of {c.measured.count} {c.measured.kind}, rank {c.found.rank}; "
            f"at the tool {c.before[0] * MICRO:.1f} um before, {c.after[0] * MICRO:.1f} um after (root mean square)"
        ),
    ]
    stiffness = stiffness_values(c)
    for k, strut in enumerate(c.machine.struts):
        row = {key: "[" + ", ".join(number(x, 9) for x in joint[k]) + "]"
               for key, joint in (("base_joint_mm", built.base), ("platform_joint_mm", built.platform))}  # fmt: skip
        if strut.screw is None:
            notes.append(f"strut {k + 1}: its length is the commanded one plus {built.offset[k]:.6f} mm")
        else:
            row["screw.zero_mm"] = number(strut.screw.zero + float(built.offset[k]), 9)
        values.append({**row, **stiffness[k]})
    out = with_table(with_struts(c.machine.source, values, notes), "calibration", _covariance(c.found.covariance))
    machine_from(out.encode(), f"the machine found (of {c.machine.file})")
    return out


def _covariance(covariance: Array) -> list[str]:
    """Return the lines of the lower half of a covariance (42, 42) or (48, 48), in um2 to six digits."""
    head = [
        "# how well the geometry is known: covariance of the joints (base, platform) and the offset, strut by strut"
    ]
    if len(covariance) > GEOMETRY:
        head.append("# then what each strut gives way under 1 kN")
    unit = np.array([MICRO] * GEOMETRY + [MICRO * KILO] * (len(covariance) - GEOMETRY))
    rows = [", ".join(f"{x:.6g}" for x in row[: k + 1]) for k, row in enumerate(covariance * np.outer(unit, unit))]
    return [*head, "covariance_um2 = [", *(f"  [{row}]," for row in rows), "]"]


def document(c: Calibration) -> dict[str, object]:
    """Return the JSON document."""
    found = c.found
    deviation = np.sqrt(np.maximum(np.diag(found.of_geometry), 0.0))
    first, second = found.indices(c.measured.count)
    kept = found.kept
    return {
        "kind": c.measured.kind,
        "measurements": c.measured.count,
        "set_aside": [name for name, used in zip(c.measured.names, kept, strict=True) if not used],
        "frames_estimated": {"measuring": c.frames.measuring, "target": c.frames.target},
        "base_from_measuring_mm_deg": _frame(found.built.base_from_measuring, found.built.order),
        "platform_from_target_mm_deg": _frame(found.built.platform_from_target, found.built.order),
        "rank": found.rank,
        "rank_without_frames": found.own_rank,
        "rank_possible": c.best_rank,
        "unknowns": len(c.frames.columns),
        "condition": measured(found.condition),
        "observability_index": measured(first),
        "noise_amplification_index": measured(second),
        "noise_ratio": measured(found.noise),
        "spare": found.spare,
        "before_um": _pair(c.before),
        "after_um": _pair(c.after),
        "held_back_um": _pair(c.held_back),
        **({} if c.parts is None else {"rigid_um": _pair(c.parts.geometry), "sag_um": _pair(c.parts.sag)}),
        **parts_document(c),
        "volumetric": {
            "points": c.accuracy.points, "before_um": _pair(c.accuracy.before), "after_um": _pair(c.accuracy.after),
            "confidence": CONFIDENCE,
        },
        "numbers": [
            {"name": name, "nominal_mm": float(a), "found_mm": float(b), "uncertainty_mm": measured(float(s))}
            for name, a, b, s in zip(NAMES, nominal(c.machine).numbers, found.built.numbers, deviation, strict=True)
        ],
        "correlation": [[round(float(x), 4) for x in row] for row in correlation(found.of_geometry)],
    }  # fmt: skip


def text(c: Calibration) -> str:
    """Return what a terminal shows."""
    found = c.found
    deviation = np.sqrt(np.maximum(np.diag(found.of_geometry), 0.0))
    change = found.built.numbers - nominal(c.machine).numbers
    first, second = found.indices(c.measured.count)
    lines = [
        (
            f"{c.measured.count} {c.measured.kind}, {int(found.kept.sum())} kept: rank {found.rank} of "
            f"{len(c.frames.columns)} unknowns, {found.own_rank} of {len(found.covariance)} without the freedoms of "
            "frames"
        ),
        (
            f"  condition number {found.condition:.3g}, observability index {first:.3g}, "
            f"noise amplification index {second:.3g}"
        ),
        f"  noise {found.noise:.3g} times the stated uncertainty ({found.spare} numbers to spare)",
        "",
        "  error at the tool, um           rms    largest",
        _line("measured, nominal geometry", c.before),
        *([] if c.parts is None else [_line("measured, rigid struts", c.parts.geometry)]),
        _line("measured, geometry found", c.after),
        _line("held back from the fit", c.held_back),
        _line(f"{c.accuracy.points} poses in reach, before", c.accuracy.before),
        _line("the same, after (see below)", c.accuracy.after),
        f"  after: rms to expect; the largest stays below this in {CONFIDENCE:.0%} of such calibrations",
        "",
        "  strut   largest change   offset of length   largest uncertainty, mm",
    ]
    for k in range(6):
        part = slice(7 * k, 7 * k + 7)
        lines.append(
            f"  {k + 1}     {np.abs(change[part][:6]).max():14.4f}   {change[part][6]:16.4f}   "
            f"{deviation[part].max():19.4f}"
        )
    lines += parts_lines(c)
    lines += [f"  set aside: {name}" for name, used in zip(c.measured.names, found.kept, strict=True) if not used]
    if c.frames.measuring:
        lines.append(
            f"  measuring frame in the base frame: {_shown(_frame(found.built.base_from_measuring, found.built.order))}"
        )
    if c.frames.target:
        lines.append(
            f"  target frame in the platform: {_shown(_frame(found.built.platform_from_target, found.built.order))}"
        )
    if found.noise > LOUD:
        lines.append(
            "  CAUTION: the measurements disagree far beyond their uncertainty; do not use this geometry before you"
        )
        lines.append(
            "  know why: units, angles, the order of the struts, a frame that is not known, several wrong poses"
        )
    if found.rank < len(c.frames.columns):
        lines.append(
            f"  {len(c.frames.columns) - found.rank} combinations stay as they were: the poses do not determine them"
        )
    return "\n".join(lines) + "\n"


def plan_csv(plan: PosePlan) -> str:
    """Return a plan as a CSV table of poses, commanded lengths and loads, ready to be measured."""
    names = (*POSITION, *ANGLES, *LENGTHS, *(() if plan.load is None else LOAD))
    turned = plan.pose.copy()
    turned[3:] *= DEG_PER_RAD
    columns = np.concatenate([turned, plan.length, *([] if plan.load is None else [plan.load.T])])
    rows = [",".join(names), *(",".join(number(float(x), 6) for x in row) for row in columns.T)]
    return "\n".join(rows) + "\n"


def _pair(errors: tuple[float, float]) -> dict[str, float | None] | None:
    """Return root mean square and largest error in micrometres, or ``None`` where they are not known."""
    return {"rms": measured(errors[0] * MICRO), "largest": measured(errors[1] * MICRO)} if isfinite(errors[0]) else None


def _frame(frame: Array, order: str) -> list[float]:
    """Return a frame (4, 4) as x y z in mm and a b c in degrees."""
    pose = pose_from_matrix(frame, order)
    return [float(x) for x in (*pose[:3], *(pose[3:] * DEG_PER_RAD))]


def _shown(pose: list[float]) -> str:
    """Return a pose in words."""
    return "X{:.4f} Y{:.4f} Z{:.4f} mm, A{:.5f} B{:.5f} C{:.5f} deg".format(*pose)


def _line(name: str, errors: tuple[float, float]) -> str:
    """Return a row of the table of errors."""
    if not isfinite(errors[0]):
        return f"  {name:28s} too few measurements"
    return f"  {name:28s} {errors[0] * MICRO:8.2f} {errors[1] * MICRO:10.2f}"
