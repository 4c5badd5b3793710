"""The circle test against closed forms, figures of another program, play followed step by step, rings by a search."""

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from machine.described import REST, STRUT, described, text
from scipy.optimize import minimize

from hexpost.cli import main
from hexpost.kinematics.servo import Lags, Loop
from hexpost.machine.model import Servo
from hexpost.reach.circle import CircleTest, _played, forecast, response, zone

ANGLE = np.linspace(0.0, 2 * np.pi, 720, endpoint=False)


def with_loops(machine, loops, backlash=0.0):
    struts = tuple(
        replace(s, servo=Servo(loop=loop, backlash=backlash)) for s, loop in zip(machine.struts, loops, strict=True)
    )
    return replace(machine, struts=struts)


def run(machine, feed=5000.0, tilt=(0.0, 0.0, 0.0), built=None):
    """Return a test of R150 about the tip place of the figures: 520 mm over the base, tool of 120 mm."""
    centre = np.array([0.0, 0.0, 520.0]) - machine.pallet.pose[:3]
    test = CircleTest(radius=150.0, feed=feed / 60, plane="XY", tilt=np.radians(tilt), tool=120.0, centre=centre)
    return forecast(machine, test, built)


@pytest.fixture(scope="module")
def machine():
    return described()


@pytest.mark.parametrize(("feed", "error"), [(1000.0, -0.83), (5000.0, -20.87), (10000.0, -83.43)])
def test_equal_loops_make_the_circle_smaller_by_the_closed_form(machine, feed, error):
    """dR = R (1 / sqrt(1 + (w / K)2) - 1): a sine through a first-order lag (control theory, any textbook)."""
    found = run(with_loops(machine, [Loop(gain=33.3)] * 6), feed).causes["servo"]
    assert found.mean * 1e3 == pytest.approx(error, abs=0.01 - 0.002 * error)


def test_a_slower_strut_is_that_of_another_program(machine):
    """40.72 um about the least-squares centre, mean -29.24 um counterclockwise: by forward kinematics, measured."""
    found = run(with_loops(machine, [Loop(gain=33.3 * 0.95), *[Loop(gain=33.3)] * 5])).causes["servo"]
    assert np.ptp(found.centred, axis=1) * 1e3 == pytest.approx([40.72, 40.72], abs=0.5)
    assert found.off[0].mean() * 1e3 == pytest.approx(-29.24, abs=0.3)
    assert found.errors[0] <= np.ptp(found.centred[0])


def test_what_commands_make_up_for_does_not_show_on_the_bar():
    made_up = [described(rest=REST + f"\n[compensation]\nsag = true\n{x}") for x in ("", "inertia = true\n")]
    before, still, moving = (
        np.abs(run(m, 5000.0, (20, 0, 0)).causes["sag"].off).max() * 1e3 for m in (described(), *made_up)
    )
    assert before > 1.0 and still < 0.7 * before and moving < 1e-6


@pytest.mark.parametrize(("tilt", "error"), [((0, 0, 0), 0.74), ((20, 0, 0), 2.95)])
def test_sag_is_that_of_another_program(machine, tilt, error):
    """At next to no feed, about the least-squares centre: by a balance of forces of another program, measured."""
    found = run(machine, 10.0, tilt).causes["sag"]
    assert np.ptp(found.centred[0]) * 1e3 == pytest.approx(error, abs=0.03)


def test_a_table_that_lies_elsewhere_changes_no_circle_and_a_joint_does(machine):
    def built(shifts):
        return replace(machine, struts=tuple(
            replace(s, base_joint=s.base_joint + shift) for s, shift in zip(machine.struts, shifts, strict=True)
        ))  # fmt: skip

    aside = run(machine, built=built([[0.3, -0.2, 0.1]] * 6)).causes["geometry"]
    assert max(aside.errors) < 1e-6 and abs(aside.mean) < 1e-6
    bent = run(machine, built=built([[0.1, 0.0, 0.0], *[[0.0, 0.0, 0.0]] * 5])).causes["geometry"]
    assert bent.errors[0] == pytest.approx(bent.errors[1], abs=1e-7) and bent.errors[0] > 1e-3


def test_lost_motion_is_that_of_a_play_followed_step_by_step(machine):
    seen, plays = [], np.full(6, 0.02)
    found = run(with_loops(machine, [Loop(gain=33.3)] * 6, 0.02))
    assert set(found.causes) == {"sag", "servo", "backlash", "quantisation"} and set(found.lacking) == {"geometry"}

    class Turn:
        length = 1500.0 + 60.0 * np.sin(2 * np.pi * np.arange(1440) / 1440 + np.arange(6)[:, None])
        speed = 60.0 * np.cos(2 * np.pi * np.arange(1440) / 1440 + np.arange(6)[:, None])

    there = Turn.length[:, 0] - plays / 2
    for _ in range(2):
        seen = []
        for now in Turn.length.T:
            there = np.minimum(np.maximum(there, now - plays / 2), now + plays / 2)
            seen.append(there)
    assert _played(plays, Turn) == pytest.approx(np.array(seen).T - Turn.length, abs=1e-4)


def test_lags_of_a_turn_are_those_of_a_stream_once_run_in():
    loop = Loop(gain=30.0, speed_share=0.4, acceleration_share=0.5, frequency=2 * np.pi * 40, damping=0.6)
    t, w = np.arange(6000) * 1e-3, 2 * np.pi
    lag = Lags([loop], 1e-3).of(80 * np.sin(w * t)[None], 80 * w * np.cos(w * t)[None])[0]
    gain = response(loop, np.array([1j * w]))[0]
    assert lag[-1000:] == pytest.approx(80 * (gain * np.exp(1j * w * t[-1000:])).imag, abs=1e-6)


def test_a_ring_is_as_narrow_as_a_search_finds():
    rng = np.random.default_rng(4)
    off = 1e-3 * sum(rng.normal() * np.cos(k * ANGLE + rng.uniform(0, 6)) for k in range(1, 6))

    def width(c):
        return np.ptp(off - c[0] * np.cos(ANGLE) - c[1] * np.sin(ANGLE))

    found = minimize(width, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-10, "maxiter": 900})
    assert zone(ANGLE, off) == pytest.approx(found.fun, abs=1e-7)
    assert zone(ANGLE, 2e-3 * np.cos(2 * ANGLE) + 0.4 * np.cos(ANGLE + 1) - 0.1) == pytest.approx(4e-3, abs=1e-9)


def test_a_measured_trace_is_judged_and_drawn(tmp_path):
    jsonschema = pytest.importorskip("jsonschema")
    (tmp_path / "m.toml").write_text(text(STRUT + "\n[strut.servo]\nposition_gain_1_s = 30\n"))
    one = run(described(STRUT + "\n[strut.servo]\nposition_gain_1_s = 30\n")).whole
    noise = np.random.default_rng(1).normal(size=one.off.shape) * 2e-4
    rows = [
        f"{np.degrees(a):.3f},{150 + off + more:.6f},{way}"
        for way, offs, mores in zip(("ccw", "cw"), one.off, noise, strict=True)
        for a, off, more in list(zip(one.angle, offs, mores, strict=True))[::8]
    ]
    (tmp_path / "t.csv").write_text("\n".join(["angle_deg,radius_mm,way", *rows]))
    height = str(520.0 - described().pallet.pose[2])
    words = ["machine", "circle", str(tmp_path / "m.toml"), "--feed-mm-min", "5000", "--tool-mm", "120", "--centre-mm"]
    words += ["0", "0", height, "--measured", str(tmp_path / "t.csv")]
    done = CliRunner().invoke(main, [*words, "--json"])
    told = json.loads(done.stdout)
    schema = json.loads(CliRunner().invoke(main, ["schema", "circle"]).stdout)
    assert not [e.message for e in jsonschema.Draft202012Validator(schema).iter_errors(told)]
    assert told["measured"]["explained_percent"] > 99.0 and told["measured"]["left_rms_um"] == pytest.approx(
        0.2, abs=0.05
    )
    shown = CliRunner().invoke(main, [*words, "--svg", str(tmp_path / "c.svg")])
    assert "% is explained" in shown.output and "not known: geometry" in shown.output
    assert (tmp_path / "c.svg").read_text().count("<path") == 2
    (tmp_path / "t.csv").write_text("angle_deg,radius_mm,way\n" + "0,150,up\n" * 12)
    assert "way is 'up'; write ccw or cw" in CliRunner().invoke(main, words).output
    far = CliRunner().invoke(main, [*words[:3], "--radius-mm", "1500"])
    assert far.exit_code == 2 and "out of reach" in far.output


def test_what_is_no_number_is_refused_by_the_name_of_its_option():
    found = CliRunner().invoke(main, ["machine", "circle", "--tilt-deg", "nan", "0", "0"])
    assert found.exit_code == 2 and "'--tilt-deg': 'nan' is no number" in found.output
