"""Machine, tools and setup files: what is read, and the whole text of what is refused."""

import contextlib
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hexpost.errors import InputError
from hexpost.machine.load import DEMONSTRATION, demonstration_machine, load_machine, machine_from
from hexpost.machine.wording import OF_WORDS

TEXT = DEMONSTRATION.read_text()


def faults_of(text):
    with pytest.raises(InputError) as caught:
        machine_from(text.encode() if isinstance(text, str) else text, "m.toml")
    return [str(f) for f in caught.value.faults]


def changed(pattern, replacement, count=1):
    assert re.search(pattern, TEXT, re.MULTILINE), pattern
    return re.sub(pattern, replacement, TEXT, count=count, flags=re.MULTILINE)


def test_numbers_arrive_in_inside_units():
    machine = demonstration_machine()
    assert machine.period == 0.001
    assert machine.tilt_order == "ABC"
    assert machine.tool_tip.tilt_speed == pytest.approx(np.pi / 3)
    assert machine.tool_tip.corner_tolerance_tilt == pytest.approx(np.deg2rad(0.05))
    assert machine.struts[2].base_joint.tolist() == [-963.7, 780.4, 2260.0]
    assert machine.platform.mass_kg == 720
    assert not machine.reference.flags.writeable
    turned = machine_from(changed(r"1040, 0, 0, 0\]", "1040, 10, -20, 180]").encode(), "m")
    assert np.allclose(turned.machine_zero, [0, 0, 1040, np.pi / 18, -np.pi / 9, np.pi])


@pytest.mark.parametrize("key", ["tilt_order", "period_ms", "deviation_mm"])
def test_keys_with_a_default(key):
    machine = machine_from(changed(rf"^{key} = .*$", "").encode(), "m")
    assert (machine.tilt_order, machine.period, machine.tool_tip.deviation) == ("ABC", 0.001, 0.01)


def test_words_have_defaults_and_can_be_set():
    assert demonstration_machine().words.units is None
    machine = machine_from((TEXT + '\n[words]\nunits = "inch"\ndwell_p = "s"\narc_tolerance_mm = 0.05\n').encode(), "m")
    assert (machine.words.units, machine.words.dwell_p, machine.words.dwell_x) == ("inch", "s", "s")
    assert machine.words.arc_tolerance == 0.05


KEYS = [
    "name", "revision", "size_mm", "gauge_point_mm", "mass_kg", "centre_of_mass_mm", "inertia_kg_m2", "jerk_mm_s3",
    "tilt_jerk_deg_s3", "corner_tolerance_mm", "corner_tolerance_deg", "base_joint_mm", "platform_joint_mm",
    "stroke_mm", "speed_mm_s", "acceleration_mm_s2", "pose_mm_deg",
]  # fmt: skip


@pytest.mark.parametrize("key", KEYS)
def test_every_other_key_is_needed(key):
    (fault,) = faults_of(changed(rf"^{key} = .*$", ""))
    assert re.fullmatch(rf"m\.toml: `([a-z_]+(\[1\])?\.)?{key}` is missing; add it: {key} = .+", fault)


@pytest.mark.parametrize("table", ["reference", "pallet", "machine_zero", "platform", "tool_tip"])
def test_a_missing_table_is_one_fault(table):
    text = re.sub(rf"^\[{table}\].*?(?=^\[)", "", TEXT, flags=re.MULTILINE | re.DOTALL)
    assert faults_of(text) == [f"m.toml: `{table}` is missing; add it: [{table}]"]


BAD = [
    (r"^speed_mm_s = 1300", "speed_mm_s = -5", "strut[1].speed_mm_s is -5; it must be above 0"),
    (r"^speed_mm_s = 1300", "speed_mm_s = nan", "strut[1].speed_mm_s is nan; write speed_mm_s = number above 0"),
    (r"^speed_mm_s = 1300", "speed_mm_s = inf", "strut[1].speed_mm_s is inf; write speed_mm_s = number above 0"),
    (r"^speed_mm_s = 1300", "speed_mm_s = true", "strut[1].speed_mm_s is true; write speed_mm_s = number above 0"),
    (r"^speed_mm_s = 1300", 'speed_mm_s = "1300"', 'strut[1].speed_mm_s is "1300"; write speed_mm_s = number above 0'),
    (r"^speed_mm_s = 1300", "speed_mm_s = 1e30",
     "strut[1].speed_mm_s is 1e+30; it must be at most 1000000000"),
    (r"^speed_mm_s = 1300", "speed_mm_s = [1, 2]", "strut[1].speed_mm_s is [1, 2]; write speed_mm_s = number above 0"),
    (r"^jerk_mm_s3 = 500000", "jerk_mm_s3 = 0", "tool_tip.jerk_mm_s3 is 0; it must be above 0"),
    (r"stroke_mm = \[1140, 2180\]", "stroke_mm = [2180, 1140]",
     "strut[1].stroke_mm is [2180, 1140]; the first must be above 0, the second above the first"),
    (r"stroke_mm = \[1140, 2180\]", "stroke_mm = [1140, nan]",
     "strut[1].stroke_mm is [1140, nan]; write stroke_mm = [shortest, longest], 2 numbers"),
    (r"stroke_mm = \[1140, 2180\]", "stroke_mm = [1140]",
     "strut[1].stroke_mm is [1140]; write stroke_mm = [shortest, longest], 2 numbers"),
    (r"stroke_mm = \[1140, 2180\]", "stroke_mm = [1140, 1500]",
     "strut[1].stroke_mm is [1140, 1500]; the reference pose needs 1735.090"),
    (r'tilt_order = "ABC"', 'tilt_order = "ABA"',
     'tilt_order is "ABA"; write tilt_order = "ABC", "ACB", "BAC", "BCA", "CAB" or "CBA"'),
    (r"period_ms = 1.0", "period_ms = 0.3333", "period_ms is 0.3333; the period must be whole microseconds"),
    (r"period_ms = 1.0", "period_ms = 0", "period_ms is 0; it must be above 0"),
    (r"\[0, 0, 890, 0, 0, 0\]", "[0, 0, 890, 0, 0]",
     "reference.pose_mm_deg is [0, 0, 890, 0, 0]; write pose_mm_deg = [x, y, z, a, b, c], 6 numbers"),
    (r"\[0, 0, 890, 0, 0, 0\]", "[0, 0, 890, 0, 0, 400]",
     "reference.pose_mm_deg turns 400 degrees; a turn is at most 360"),
    (r"\[0, 0, 890, 0, 0, 0\]", "[0, 0, 890e6, 0, 0, 0]",
     "z of reference.pose_mm_deg is 890000000; it must be at most 100000"),
    (r"\[0, 64, 0\]", "[0, -64, 0]",
     "platform.inertia_kg_m2 has a principal moment of -64; all three must be above 0"),
    (r"\[0, 64, 0\]", "[1, 64, 0]",
     "platform.inertia_kg_m2 is not symmetric; write the same number for xy and yx, xz and zx, yz and zy"),
    (r"\[0, 64, 0\]", "[0, 64]",
     ("platform.inertia_kg_m2 is [[62, 0, 0], [0, 64], [0, 0, 78]]; write "
      "inertia_kg_m2 = [[xx, xy, xz], [yx, yy, yz], [zx, zy, zz]]")),
    (r"size_mm = \[600, 600\]", "size_mm = [600, -1]",
     "pallet.size_mm is [600, -1]; both must be at least 10"),
    (r"^name = .*$", "name = 7", 'name is 7; write name = "text"'),
    (r"^name = .*$", 'name = " "', 'name is " "; write name = "text"'),
    (r"^name = .*$", 'name = "x"\nwords = 3', "words is 3; make it a table: [words]"),
]  # fmt: skip


@pytest.mark.parametrize(("pattern", "replacement", "text"), BAD)
def test_a_fault_has_key_path_and_text_to_type(pattern, replacement, text):
    assert faults_of(changed(pattern, replacement))[0] == f"m.toml: {text}"


def test_unknown_keys_are_refused_with_the_nearest_one():
    text = changed(r"^jerk_mm_s3 = 500000", "jerk_mm_s3 = 500000\nspeed_mm_min = 7")
    assert faults_of(text) == ["m.toml: unknown key `tool_tip.speed_mm_min`; did you mean `speed_mm_s`?"]
    text = re.sub(r"^#(?=first_motion )", "", TEXT, flags=re.MULTILINE)  # without the heading above it
    assert faults_of(text) == ["m.toml: unknown key `strut[6].first_motion`; did you mean `words.first_motion`?"]
    shown = re.search(r"^#\[words\]\n((#\w+ = .*\n)+)", TEXT, re.MULTILINE)
    assert set(re.findall(r"^#(\w+)", shown[1], re.MULTILINE)) == set(OF_WORDS)
    (fault,) = faults_of(TEXT + "\n[robot]\nx = 1\n")
    assert fault.startswith("m.toml: unknown key `robot`; known: ")


def test_all_faults_come_at_once():
    text = changed(r"^speed_mm_s = 1300", "speed_mm_s = 0", count=0).replace("mass_kg = 720", "mass_kg = -1")
    keys = [f.split(": ")[1].split(" is ")[0] for f in faults_of(text)]
    assert keys == [f"strut[{i}].speed_mm_s" for i in range(1, 7)] + ["platform.mass_kg"]


@pytest.mark.parametrize(
    ("keep", "found"),
    [(5, "the file has 5 of [[strut]]; it must have 6"), (0, "`strut` is missing; add it: [[strut]]")],
)
def test_six_struts_are_needed(keep, found):
    parts = TEXT.split("[[strut]]")
    fault = faults_of("[[strut]]".join(parts[: keep + 1]))[0]
    assert fault == f"m.toml: {found}"


def test_seven_struts_are_too_many():
    last = "[[strut]]" + TEXT.split("[[strut]]")[-1]
    assert faults_of(TEXT + "\n" + last) == ["m.toml: the file has 7 of [[strut]]; it must have 6"]


def test_a_singular_geometry_is_refused_with_its_measure():
    """Similar hexagons on circles are singular at every pose (T. Charters, P. Freitas, arXiv:0811.1122)."""
    azimuth = np.deg2rad([20, 100, 140, 220, 260, 340])
    text = TEXT.split("[[strut]]")[0]
    for a in azimuth:
        x, y = np.cos(a), np.sin(a)
        text += (
            f"[[strut]]\nbase_joint_mm = [{900 * x:.2f}, {900 * y:.2f}, 2240]\n"
            f"platform_joint_mm = [{400 * x:.2f}, {400 * y:.2f}, 0]\nstroke_mm = [900, 2400]\n"
            "speed_mm_s = 1\nacceleration_mm_s2 = 1\njerk_mm_s3 = 1\n"
        )
    (fault,) = faults_of(text)
    assert fault.startswith("m.toml: reference.pose_mm_deg is a singular pose: the struts do not hold the platform")
    assert "conditioning (characteristic length 400.0 mm) is 0.000000" in fault


@pytest.mark.parametrize(
    ("source", "start", "end"),
    [
        (b"name = \n", "m.toml:1:8: not TOML: ", "\n    name = \n           ^"),
        (b'name = "x"\nname = "y"\n', "m.toml:2:11: not TOML: ", '\n    name = "y"\n              ^'),
        (b"a = [1,\n", "m.toml:1:8: not TOML: ", "\n    a = [1,\n           ^"),
        (b"a = '\xff'", "m.toml:1: the byte 0xff is no UTF-8 text; save the file as UTF-8", ""),
        (b"a = " + b"[" * 100_000, "m.toml: tables or lists are nested too deep, or a number has too many digits", ""),
        (b"a = " + b"9" * 100_000, "m.toml: tables or lists are nested too deep, or a number has too many digits", ""),
    ],
)
def test_text_that_is_not_toml(source, start, end):
    """The words after the place are those of the standard library, and differ between its versions."""
    (fault,) = faults_of(source)
    assert fault.startswith(start)
    assert fault.endswith(end)


def test_a_byte_order_mark_and_windows_line_ends_are_fine():
    source = b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode()
    assert machine_from(source, "m").name == demonstration_machine().name


def test_numbers_without_end_do_not_overflow():
    endless = changed("mass_kg = 720", "mass_kg = 0x" + "f" * 9000)
    assert "mass_kg is a number of too many digits" in faults_of(endless)[0]
    assert "mass_kg is inf; write mass_kg = number above 0" in faults_of(changed("mass_kg = 720", "mass_kg = 1e999"))[0]


def test_files_that_cannot_be_read(tmp_path):
    big = tmp_path / "big.toml"
    big.write_bytes(b"#" * 1_000_001)
    cases = {
        tmp_path / "none.toml": "cannot be read: No such file or directory",
        tmp_path: "is a folder, a pipe or a device; give a file",
        big: "is longer than 1,000,000 bytes",
    }
    for path, what in cases.items():
        with pytest.raises(InputError) as caught:
            load_machine(path)
        assert str(caught.value) == f"{path}: {what}"


@given(st.binary(max_size=60))
def test_no_bytes_end_in_anything_but_an_input_error(noise):
    with pytest.raises(InputError):
        machine_from(noise, "noise")


@given(st.data())
def test_no_mutation_of_a_machine_file_ends_in_anything_but_an_input_error(data):
    source = TEXT.encode()
    at = data.draw(st.integers(0, len(source) - 1))
    cut = data.draw(st.integers(0, 12))
    noise = data.draw(
        st.sampled_from([b"", b"nan", b"-1", b"[]", b"{}", b"'", b"\n[x]\n", b"1e400", b"\x00", b"2020-01-01"])
    )
    with contextlib.suppress(InputError):
        machine_from(source[:at] + noise + source[at + cut :], "m")
