"""Optional tables of the machine file: defaults, inside units, and the whole text of what is refused."""

import re
import tomllib
from math import pi

import numpy as np
import pytest
from machine.described import REST, STRUT, described

from hexpost.errors import InputError
from hexpost.machine.load import demonstration_machine, machine_from


def faults_of(strut=STRUT, rest=REST):
    with pytest.raises(InputError) as caught:
        described(strut, rest)
    return [str(f) for f in caught.value.faults]


def test_nothing_is_needed():
    machine = demonstration_machine()
    assert machine.spindle is None
    assert machine.forces.gravity.tolist() == [0, 0, -9806.65]
    assert machine.keep_out == ()
    assert all(s.screw is s.thermal is s.body.radius is None for s in machine.struts)
    for s in machine.struts:
        for joint in (s.base_universal, s.platform_universal):
            assert joint.cone is joint.outer_range is None
            assert np.linalg.norm(joint.outer) == pytest.approx(1.0)
            assert joint.outer @ joint.inner == pytest.approx(0.0, abs=1e-15)


def test_inside_units():
    machine = described()
    screw = machine.struts[3].screw
    assert (screw.lead, screw.hand, screw.gear, screw.elasticity) == (20.0, 1, 1.5, 206e3)
    assert machine.struts[0].thermal.expansion == pytest.approx(11.5e-6)
    assert machine.struts[0].body.stiffness == pytest.approx(150e3)
    assert machine.struts[0].base_universal.cone == pytest.approx(np.radians(40))
    assert machine.forces.gravity.tolist() == [0, 0, -9810]
    assert machine.forces.moment.tolist() == [0, 0, 5000]


AXES = "base_outer_axis = {}\nbase_inner_axis = {}\n"
BAD = [
    ("[strut.screw]\nlead_mm = 0\n", "strut[1].screw.lead_mm is 0; it must be above 0"),
    ("[strut.screw]\n", "`strut[1].screw.lead_mm` is missing; add it: lead_mm = number above 0"),
    ('[strut.screw]\nlead_mm = 5\nhand = "up"\n', 'strut[1].screw.hand is "up"; write hand = "right" or "left"'),
    ("[strut.screw]\nlead_mm = 5\nefficiency = 1.2\n",
     "strut[1].screw.efficiency is 1.2; it must be at most 1"),
    ("[strut.screw]\nlead_mm = 5\nroot_diameter_mm = 20\nbore_mm = 20\n",
     "strut[1].screw.bore_mm is 20; it must be below root_diameter_mm, 20"),
    ("[strut.screw]\nlead_mm = 5\nsupported_mm = 1200\n",
     "strut[1].screw.supported_mm is 1200; it must be below the shortest length of the strut, 1140"),
    ("[strut.thermal]\ntemperature_c = 300\n",
     "strut[1].thermal.temperature_c is 300 degrees Celsius; it must be at most 150\n    hint: 300 kelvin are 26.85 degrees Celsius"),  # noqa: E501
    ("[strut.joint]\n" + AXES.format("[1, 0, 0]", "[1, 1, 0]"),
     "strut[1].joint.base_inner_axis is at 45.00 degrees to base_outer_axis; make it 90"),
    ("[strut.joint]\n" + AXES.format("[0, 0, 0]", "[1, 1, 0]"),
     "strut[1].joint.base_outer_axis has no length; write for example [1, 0, 0]"),
    ("[strut.joint]\nbase_outer_axis = [1, 0, 0]\n",
     "strut[1].joint.base_inner_axis is missing beside base_outer_axis; give both axes or neither"),
    ("[strut.joint]\nbase_outer_deg = [10, -10]\n",
     "strut[1].joint.base_outer_deg is [10, -10]; the second must be above the first"),
    ("[strut.joint]\nbase_outer_deg = [10, 20]\n",
     "strut[1].joint.base_outer_deg is [10, 20]; the reference pose is at 0.00"),
    ("[strut.joint]\nbase_cone = 10\n",
     "unknown key `strut[1].joint.base_cone`; did you mean `base_cone_deg`?"),
    ("[strut.body]\nradius_mm = -3\n", "strut[1].body.radius_mm is -3; it must be above 0"),
]  # fmt: skip


@pytest.mark.parametrize(("strut", "fault"), BAD, ids=[b[1].split(":")[0] for b in BAD])
def test_bad_tables_of_a_strut(strut, fault):
    assert f"described.toml: {fault}" in faults_of(strut)


def test_an_axis_along_the_strut_is_refused():
    machine = demonstration_machine()
    s = machine.struts[0]
    n = machine.reference[:3] + s.platform_joint - s.base_joint
    across = np.cross(n, [1.0, 0, 0])
    found = faults_of("[strut.joint]\n" + AXES.format(n.tolist(), across.tolist()))
    what = "is 0.00 degrees off the strut at the reference pose; it must be at least 5"
    assert f"described.toml: strut[1].joint.base_outer_axis {what}" in found


def test_a_cone_about_another_direction_may_not_hold_the_reference_pose():
    (fault,) = {f.split(": ", 1)[1] for f in faults_of(
        "[strut.joint]\nbase_outer_axis = [1, 0, 0]\nbase_inner_axis = [0, 1, 0]\nbase_cone_deg = 5\n"
    ) if "strut[1]" in f}  # fmt: skip
    assert fault.startswith("strut[1].joint.base_cone_deg is 5; the reference pose needs ")


REST_BAD = [
    ("[forces]\ngravity_m_s2 = [0, 0, -9810]\n",
     "z of forces.gravity_m_s2 is -9810; it must be at least -100"),
    ("[forces]\nwindow_s = 0\n", "forces.window_s is 0; it must be above 0"),
    ("[spindle]\n", "`spindle.radius_mm` is missing; add it: radius_mm = number above 0"),
    ('[[keep_out]]\nname = "box"\nlow_mm = [0, 0, 0]\nhigh_mm = [1, 1, 0]\n',
     "keep_out[1].high_mm must be above low_mm in x, y and z"),
    ("[health]\nconditioning = 2\n", "health.conditioning is 2; it must be at most 1"),
]  # fmt: skip


@pytest.mark.parametrize(("rest", "fault"), REST_BAD, ids=[b[1].split(":")[0] for b in REST_BAD])
def test_bad_tables_of_the_machine(rest, fault):
    assert f"described.toml: {fault}" in faults_of(rest=rest)


def test_an_inertia_that_is_not_positive_definite_is_refused():
    from machine.described import text

    bad = text().replace("[[62, 0, 0], [0, 64, 0], [0, 0, 78]]", "[[62, 0, 0], [0, 64, 90], [0, 90, 78]]")
    with pytest.raises(InputError, match=r"platform\.inertia_kg_m2 has a principal moment of -19\.2718; all three"):
        machine_from(bad.encode(), "m")


def test_the_sample_is_this_machine(root):
    from machine.described import text

    shown = tomllib.loads((root / "samples" / "described.toml").read_text())
    assert shown == tomllib.loads(text().replace('machine (invented)"', 'machine, struts described (invented)"'))


def test_keys_that_the_sample_only_shows_are_keys_and_say_their_defaults(root):
    """A key marked # may be used, and changes nothing where it shows the default."""
    written = (root / "samples" / "described.toml").read_text()
    shown = re.sub(r"^#(?=\w)", "", written, flags=re.MULTILINE)
    assert len(shown) == len(written) - 14
    before, now = (machine_from(text.encode(), "described.toml") for text in (written, shown))
    assert now.struts[0].screw == before.struts[0].screw
    assert now.struts[0].thermal != before.struts[0].thermal
    assert now.struts[0].base_universal.outer_range == (-pi / 2, pi / 2)
    assert now.health.length == 400.0 and now.platform.damping == before.platform.damping == 0.02


SAG_BAD = [
    ("[compensation]\n", "compensation.sag is missing; add it: sag = true, or false for a report of the sag alone"),
    ("[compensation]\nsag = 1\n", "compensation.sag is 1; write sag = true or false"),
    ("[compensation]\nsag = false\ninertia = true\n",
     "compensation.inertia needs sag = true beside it: it adds to what commands make up for"),
    ('[compensation]\nsag = true\nzero_at = "home"\n',
     'compensation.zero_at is "home"; write zero_at = "reference" or "machine_zero"'),
    ("[compensation]\nsag = true\nheat = true\n", "unknown key `compensation.heat`"),
]  # fmt: skip


@pytest.mark.parametrize(("rest", "fault"), SAG_BAD)
def test_bad_tables_of_compensation(rest, fault):
    assert any(fault in x for x in faults_of(rest=rest)), faults_of(rest=rest)


def test_all_struts_say_how_stiff_they_are_where_commands_make_up_for_it():
    rest = REST + "[compensation]\nsag = true\n"
    assert described(rest=rest).compensation.zero_at == "reference"
    soft = STRUT.replace("stiffness_n_um = 150\n", "")
    assert any("strut[6].body.stiffness_n_um is missing; [compensation] needs it" in x for x in faults_of(soft, rest))
    assert described(soft, rest + "screws = true\n").compensation.screws
    joints = soft.replace("base_cone_deg = 40\n", "base_cone_deg = 40\nplatform_stiffness_n_um = 90\n")
    assert described(joints, rest).struts[3].platform_universal.stiffness == 90e3
    bare = soft.replace("root_diameter_mm = 60\n", "")
    what = "strut[1].screw.root_diameter_mm is missing; [compensation] screws needs it for every strut"
    assert any(what in x for x in faults_of(bare, rest + "screws = true\n"))


SERVO = "[strut.servo]\nposition_gain_1_s = 33\nspeed_feed_forward = 0.5\n"
SERVO_BAD = [
    ("[strut.servo]\n", "`strut[1].servo.position_gain_1_s` is missing; add it: position_gain_1_s = number above 0"),
    (SERVO + "speed_feed_forward = 3\n", "strut[1].servo.speed_feed_forward is 3; it must be at most 1.5"),
    (SERVO + "damping = 0.6\n", "strut[1].servo.damping needs bandwidth_hz beside it, the inner loop that it is about"),
    (
        SERVO.replace("33", "300") + "bandwidth_hz = 20\ndamping = 0.7\n",
        (
            "strut[1].servo.position_gain_1_s is 300; with this inner loop it must be below 4 pi damping bandwidth_hz"
            "\n    hint: that is 175.93: from there on the loop swings up"
        ),
    ),
]


@pytest.mark.parametrize(("strut", "fault"), SERVO_BAD)
def test_bad_position_loops_are_refused(strut, fault):
    strut = strut.replace("speed_feed_forward = 0.5\n", "", 1) if "= 3" in strut else strut
    assert f"described.toml: {fault}" in faults_of(strut)


def test_loops_belong_to_all_struts_or_to_none_and_a_limit_needs_them():
    from machine.described import text

    assert described(SERVO).struts[5].servo.loop.gain == 33.0
    some = text(SERVO).replace(SERVO, "", 1)
    with pytest.raises(InputError, match=r"strut\[1\]\.servo is missing, and strut 2 has one; add it to every strut"):
        machine_from(some.encode(), "m")
    alone = (
        text()
        .replace("stiffness_n_um = 150\n", "", 1)
        .replace("deviation_mm =", "vibration_mm = 0.1\ndeviation_mm =", 1)
    )
    with pytest.raises(InputError, match=r"tool_tip\.vibration_mm needs the stiffness of the struts"):
        machine_from(alone.encode(), "m.toml")
    alone = text().replace("deviation_mm =", "contour_mm = 0.1\ndeviation_mm =", 1)
    with pytest.raises(InputError, match=r"tool_tip\.contour_mm needs the position loops of the struts"):
        machine_from(alone.encode(), "m")
