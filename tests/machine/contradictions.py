"""Machine files that contradict themselves: the described machine with one change each, and the key at fault."""

import re

from machine.described import text

BOX = '[[keep_out]]\nname = "{}"\nlow_mm = [{}, {}, 0]\nhigh_mm = [{}, {}, 2500]\n'
ROW = '[[dialect]]\nword = "{}"\naction = "{}"\n{}\n'
AXIS = '[[programmed_axes.axis]]\nword = "{}"\ncarries = "{}"\ndirection = [{}]\n'
SCREW, POSE = "strut[1].screw.", "reference.pose_mm_deg"


def _set(key, value):
    """Return an edit that gives a key another value, wherever it stands."""
    return lambda t: re.subn(rf"(?m)^{key} = [^#\n]*", f"{key} = {value}", t)


def _add(more):
    """Return an edit that adds some lines at the end."""
    return lambda t: (f"{t}\n{more}", 1)


def _pose(heading, value):
    """Return an edit that gives a table another pose."""
    return lambda t: re.subn(rf"(\[{heading}\][^\n]*\npose_mm_deg = )[^#\n]*", rf"\g<1>{value}", t)


def _both(*edits):
    def edit(t):
        done = 1
        for one in edits:
            t, n = one(t)
            done = min(done, n)
        return t, done

    return edit


def made(rng):
    """Return contradictions by name: an edit of the described machine and the key at fault; ``rng`` says how far."""
    far, few, side = rng.uniform(2.0, 50.0), rng.uniform(0.05, 0.4), rng.choice([-1, 1])
    letters = rng.choice(["AC", "BC", "AB"])
    return {
        "lasting thrust": (_set("thrust_continuous_n", 12000 * far), f"{SCREW}thrust_continuous_n"),
        "lasting torque": (_set("torque_continuous_nm", 45 * far), f"{SCREW}torque_continuous_nm"),
        "thrust at rest": (_both(_set("thrust_continuous_n", 900 * few), _set("thrust_n", 1000 * few)), POSE),
        "lasting thrust at rest": (_set("thrust_continuous_n", 900 * few), POSE),
        "torque at rest": (_both(_set("torque_continuous_nm", 2 * few), _set("torque_nm", 2 * few)), POSE),
        "mass of another unit": (_set("mass_kg", 720e3), POSE),
        "back efficiency": (_set("back_efficiency", 0.9 + 0.1 * few), f"{SCREW}back_efficiency"),
        "bore": (_set("root_diameter_mm", f"60\nbore_mm = {60 + far}"), f"{SCREW}bore_mm"),
        "root beyond the body": (_set("root_diameter_mm", 121 + far), f"{SCREW}root_diameter_mm"),
        "supported beyond the strut": (_set("supported_mm", 1180 + far), f"{SCREW}supported_mm"),
        "heated beyond the strut": (_set("temperature_c", f"24\nheated_mm = {2181 + far}"),
                                    "strut[1].thermal.heated_mm"),
        "kelvin": (_set("temperature_c", 273.15 + far), "strut[1].thermal.temperature_c"),
        "cone": (_set("base_cone_deg", f"{far / 10}\nbase_outer_axis = [1, 0, 0]\nbase_inner_axis = [0, 1, 0]"),
                 "strut[1].joint.base_cone_deg"),
        "strokes exchanged": (_set("stroke_mm", "[2180, 1140]"), "strut[1].stroke_mm"),
        "stroke without the reference": (_set("stroke_mm", f"[900, {1000 + far}]"), "strut[1].stroke_mm"),
        "clearance": (_set("clearance_mm", 80 + far), POSE),
        "fat struts": (_set("radius_mm", 170 + far), POSE),
        "conditioning": (_set("conditioning", 0.85 + few / 3), POSE),
        "characteristic length": (_set("conditioning", f"0.05\ncharacteristic_length_mm = {1e5 * far}"), POSE),
        "a box about the spindle": (_add(BOX.format("vice", -far, -far, far, far)), POSE),
        "two boxes of one name": (_add(BOX.format("column", 1300, 1300, 1400, 1400)), "keep_out[2].name"),
        "a box inside out": (_add(BOX.format("door", 1300, 1300, 1200, 1400)), "keep_out[2].high_mm"),
        "moments of no body": (_set("inertia_kg_m2", f"[[62, 0, 0], [0, 64, 0], [0, 0, {128 + far}]]"),
                               "platform.inertia_kg_m2"),
        "mass far away": (_set("centre_of_mass_mm", f"[0, 0, {side * 3000 * far}]"), "platform.centre_of_mass_mm"),
        "spindle upside down": (lambda t: (re.subn(r"(radius_mm = 70)", rf"\1\ntop_mm = [0, 0, {-251 - far}]", t)),
                                "spindle.top_mm"),
        "gravity in g": (_set("gravity_m_s2", "[0, 0, -1]"), "forces.gravity_m_s2"),
        "gravity twice": (_set("gravity_m_s2", f"[0, {side * 9.81}, -9.81]"), "forces.gravity_m_s2"),
        "tolerance in mm": (_set("corner_tolerance_mm", 20 + far), "tool_tip.corner_tolerance_mm"),
        "tolerance in degrees": (_set("corner_tolerance_deg", 20 + far), "tool_tip.corner_tolerance_deg"),
        "deviation": (_set("deviation_mm", 20 + far), "tool_tip.deviation_mm"),
        "first feed": (_add(f"[words]\nfirst_feed_mm_min = {72000 + far}\n"), "words.first_feed_mm_min"),
        "implied without a format": (_add('[words]\nnumbers = "implied"\n'), "words.numbers"),
        "dwells without a unit": (_add('[words]\ndwell_p = "none"\ndwell_x = "none"\ndwell_f = "none"\n'),
                                  "words.dwell_p"),
        "a micrometre in minutes": (_set("jerk_mm_s3", 5e-10 * far), "tool_tip"),
        "a tip that stands": (_set("speed_mm_s", 1e-9 * far), "tool_tip"),
        "no such word": (_add(ROW.format("M77", "same-as", 'same_as = "M123"')), "dialect[1].same_as"),
        "a word of itself": (_add(ROW.format("M77", "same-as", 'same_as = "M77"')), "dialect[1].same_as"),
        "a word that is refused": (_add(ROW.format("M77", "same-as", 'same_as = "M08"')
                                        + ROW.format("M8", "refuse", 'message = "by hand"')), "dialect[1].same_as"),
        "words in a circle": (_add(ROW.format("M07", "same-as", 'same_as = "M08"')
                                   + ROW.format("M08", "same-as", 'same_as = "M07"')), "dialect[1].same_as"),
        "a word twice": (_add(ROW.format("M77", "ignore", "") + ROW.format("M077", "refuse", 'message = "no"')),
                         "dialect[2].word"),
        "rotary axes as one": (_add(AXIS.format(letters[0], "table", "0, 0, 1")
                                    + AXIS.format(letters[1], "table", "0, 0, -1")),
                               "programmed_axes.axis[2].direction"),
        "a rotary axis twice": (_add(AXIS.format("C", "table", "0, 0, 1") + AXIS.format("C", "head", "0, 1, 0")),
                                "programmed_axes.axis[2].word"),
        "a tool change out of reach": (_add(f"[tool_change]\npose_mm_deg = [0, {side * 2000}, 990, 0, 0, 0]\n"),
                                       "tool_change.pose_mm_deg"),
        "a return out of reach": (_add(f"[reference_return]\ng28_pose_mm_deg = [0, 0, {3000 + far}, 0, 0, 0]\n"),
                                  "reference_return.g28_pose_mm_deg"),
        "a pallet out of reach": (_pose("pallet", f"[{side * 3000}, {far}, 420, 0, 0, 0]"), "pallet.pose_mm_deg"),
        "a pallet in metres": (_set("size_mm", "[0.6, 0.6]"), "pallet.size_mm"),
        "a strut without a screw": (lambda t: (t[: t.rindex("[strut.screw]")] + t[t.rindex("[strut.thermal]"):], 1),
                                    "strut[6].screw"),
        "one strut twice": (lambda t: re.subn(
            r"base_joint_mm = \[691.1, 622.3, 2225.0\]\nplatform_joint_mm = \[-5.2, 300.0, 35.0\]",
            "base_joint_mm = [1157.6, 444.4, 2260.0]\nplatform_joint_mm = [410.4, -276.8, -20.0]", t), "strut[2]"),
    }  # fmt: skip


def contradicting(name, rng):
    """Return the text of a machine that contradicts itself, and the key at fault."""
    edit, key = made(rng)[name]
    out, done = edit(text())
    assert done, name
    return out, key
