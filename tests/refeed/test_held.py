"""Feeds held in lines (a clamp, a thin wall), and held constant over an operation: by hand, and by poses of ticks."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from refeed.test_refeed import FAST, SLOW, feeds, inputs_of
from verify.folders import convert, copied, proof, run, sign

from hexpost.errors import HexpostError, InputError
from hexpost.machine.feed_caps import feed_cap, feed_caps
from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.moves.model import Switches
from hexpost.pipeline import examine, parse, schedule, understand
from hexpost.refeed.lower import refeed
from hexpost.setpoints.sample import sample

PROGRAM = """G21 G90 G94 G64
G00 X0 Y0 Z300
G01 Z290 F600
X60 F3000
G02 X80 Y20 I20 J0
G93 G01 X0 F30
G94 G01 Y40 F3000
A5 F900
G95 S1000 M03 X30 F2
G94 G00 Z320
M30
"""


def capped(*texts, program=PROGRAM):
    """Return the job of a program with feeds held."""
    given = (parse(program.encode(), "p.nc"), demonstration_machine(), no_tools(), no_setup())
    return schedule(understand(*given, switches=Switches(at_most=feed_caps(texts))))


def fastest(job):
    """Return the largest speed of the tip in each line, mm/min, from differences of the poses of all ticks."""
    found = {}
    for batch in sample(job.timing, job.path, job.inputs.meaning.moves):
        size = np.linalg.norm(np.diff(batch.pose[:3], axis=1), axis=0) / 1e-3 * 60
        for line, v in zip(batch.line[1:].tolist(), size.tolist(), strict=True):
            found[line] = max(found.get(line, 0.0), v)
    return found


def test_no_feed_move_of_the_lines_is_faster_and_no_other_is_slower():
    free, held = fastest(capped()), fastest(capped("4:7=1000", "9:9=500"))
    for line in (4, 5, 6, 7):
        assert free[line] > 1500
        assert held[line] == pytest.approx(1000, rel=1e-3)
    assert held[9] == pytest.approx(500, rel=1e-3)
    assert free[9] == pytest.approx(2000, rel=1e-3)
    assert held[3] == pytest.approx(free[3], rel=1e-6)
    assert held[10] == pytest.approx(free[10], rel=1e-3)


def test_where_ranges_overlap_the_least_counts_and_turns_stay():
    moves = capped("1:8=1500", "5:5=800", "5:8=1200").inputs.meaning.moves
    word = dict(zip(moves.line.tolist(), (moves.feed * 60).tolist(), strict=True))
    assert word[4] == pytest.approx(1500)
    assert word[5] == pytest.approx(800)
    assert word[7] == pytest.approx(1200)
    assert np.degrees(word[8]) == pytest.approx(900)


def test_the_advised_f_is_that_of_the_program_not_of_the_cap():
    """F 3000 read at 50 mm/s is one F for a mm/min, held or not."""
    one = capped("4:5=1000").inputs.meaning
    at = np.flatnonzero(one.moves.line == 4)
    assert one.written.per_speed(one.moves, at) == pytest.approx([1.0])


@given(st.integers(1, 12), st.integers(0, 6), st.floats(20, 4000))
@settings(max_examples=25, deadline=None)
def test_the_proof_holds_feeds_by_its_own_equation(first, more, feed):
    from hexpost.verify.settings import _held

    cap = f"{first}:{first + more}={feed:.3f}"
    try:
        job = capped(cap)
    except InputError:
        return
    plain = capped().inputs.meaning.moves
    assert np.allclose(_held(plain, feed_caps([cap])).feed, job.inputs.meaning.moves.feed, rtol=1e-12, atol=0.0)


@pytest.mark.parametrize("text", ["3-4=500", "4:3=500", "0:3=500", "3:4=0", "3:4=-5", "3:4=1e9", "3:4", "3:4=50mm", ""])
def test_what_is_no_cap_is_refused_and_says_what_to_type(text):
    with pytest.raises(HexpostError, match="; write "):
        feed_cap(text)


@given(st.integers(1, 10**7), st.integers(0, 10**6), st.integers(1, 10**9))
@settings(max_examples=40, deadline=None)
def test_a_cap_is_written_as_it_was_read(first, more, feed):
    cap = feed_cap(f"{first}:{first + more}={feed / 100:.2f}")
    assert feed_cap(cap.text) == cap


@pytest.mark.parametrize(
    ("program", "cap", "fault"),
    [
        (PROGRAM, "1:2=500", "no feed move in these lines"),
        ("G21\nM03 S300\nG00 Z300\nG84 X0 Y0 Z280 R290 F300\nG80\nM30\n", "4:4=100", "a tap, which would lose"),
    ],
)
def test_lines_without_a_feed_and_taps_are_refused(program, cap, fault):
    with pytest.raises(InputError, match=fault):
        capped(cap, program=program)


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    plain = "G21 G90 G94 G64\nG00 X0 Y0 Z300\nG01 X60 F6000\nY40\nX0\nG00 Z320\nM30\n"
    return convert(tmp_path_factory.mktemp("held"), plain, "--at-most", "4:4=2000")


def test_a_job_with_held_feeds_is_proven_made_again_and_says_so(job):
    assert run("verify", job)[0] == 0
    assert "Line 4: the tip goes at most 2000 mm/min" in " ".join((job / "report.txt").read_text().split())
    assert json.loads((job / "manifest.json").read_text())["settings"]["at_most"] == ["4:4=2000"]


@pytest.mark.parametrize("told", [["4:4=1500"], ["3:4=2000"], ["4:4=x"], "4:4=2000", [4]])
def test_a_forged_cap_is_found(job, tmp_path, told):
    forged = copied(job, tmp_path)
    manifest = json.loads((forged / "manifest.json").read_text())
    manifest["settings"]["at_most"] = told
    (forged / "manifest.json").write_text(json.dumps(manifest))
    sign(forged)
    assert proof(forged)[0] == 2


def test_refeed_writes_the_words_that_hold_lines():
    found = refeed(inputs_of(FAST), at_most=feed_caps(["5:5=1000", "6:6=2000"]))
    assert [x for line in feeds(found.source) for x in line] == [b"1000", b"2000", b"200"]
    assert [(c.old_line, c.before, c.now) for c in found.changes] == [(5, 30000, 1000), (6, 30000, 2000)]
    again = refeed(inputs_of(found.source), at_most=feed_caps(["6:6=1000", "7:7=2000"]))
    assert again.source == found.source


def test_refeed_lowers_further_what_the_struts_cannot_hold():
    text = FAST.replace("X100", "X40").replace("Y100", "Y40")
    both = refeed(inputs_of(text, **SLOW), at_most=feed_caps(["6:6=1000"]))
    assert both.after.findings.count == 0
    now = {c.old_line: c.now for c in both.changes}
    assert now[6] == 1000
    assert 1000 < now[5] < 30000


def test_refeed_refuses_to_hold_what_it_leaves_alone():
    with pytest.raises(InputError, match="6: must be slower, and its F is none a minute"):
        refeed(inputs_of(PROGRAM), at_most=feed_caps(["4:7=1000"]))


OPERATIONS = """G21 G90 G64
G00 X0 Y0 Z300
G01 Z290 F500
X60 F30000
Y50
X20 F30000
G00 Z300
G01 Z290 F500
X0 F30000
Y20
G00 Z300
M30
"""


def test_a_constant_feed_is_one_for_an_operation_and_the_highest_that_holds():
    """Each operation's feed holds, and 6 % more breaks a limit in it."""
    found = refeed(inputs_of(OPERATIONS, **SLOW), constant_feed=True)
    now = {c.old_line: c.now for c in found.changes}
    assert found.after.findings.count == 0
    assert now[4] == now[5] == now[6]
    assert now[9] == now[10]
    assert now.keys() == {4, 5, 6, 9, 10}  # plunges have an F of their own
    text = OPERATIONS.replace("F30000", f"F{1.06 * now[4]:.0f}", 1)
    faster = inputs_of(text.replace("X20 F30000", f"X20 F{1.06 * now[4]:.0f}"), **SLOW)
    assert any(line in (4, 5, 6) for line in examine(schedule(faster)).findings.line)
    assert refeed(inputs_of(found.source, **SLOW), constant_feed=True).source == found.source


def test_a_subprogram_joins_the_operations_that_call_it():
    text = """G21 G90 G64
G00 X0 Y0 Z300
G01 X40 F30000
M98 P7
G00 Z310
G01 X0 F30000
M98 P7
G00 Z320
M30
O7
G01 Y50 F30000
Y0
M99
"""
    found = refeed(inputs_of(text, **SLOW), constant_feed=True)
    assert len({c.now for c in found.changes}) == 1
    assert {c.old_line for c in found.changes} == {3, 6, 11, 12}


def test_constant_feed_does_not_go_with_split(tmp_path):
    (tmp_path / "p.nc").write_text(FAST)
    code, output = run("refeed", tmp_path / "p.nc", "-o", tmp_path / "n.nc", "--split", "--constant-feed")
    assert code == 2
    assert "--constant-feed does not go with --split" in output
