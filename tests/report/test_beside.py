"""Time beside the motion: counted word by word, told in every form, never in the table, known to the proof."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from verify.folders import PROGRAM, convert, copied, proof, sign

from hexpost.errors import InputError
from hexpost.machine.load import DEMONSTRATION, machine_from
from hexpost.machine.model import ShopTimes
from hexpost.moves.model import AFTER, WITH, Events
from hexpost.report.beside import beside, beside_document, beside_each, beside_text
from hexpost.verify.beside import check_beside

CODES = [0, 1, 2, 3, 4, 5, 6, 8, 13, 14, 19, 30, 60]
ALL = ShopTimes(tool_change=8.0, spindle_start=3.0, spindle_reverse=5.0, attended_stop=60.0)
TIMES = "\n[times]\ntool_change_s = 8\nspindle_start_s = 3\nattended_stop_s = 60.5\n"
STOPPED = PROGRAM.replace("A0. B5.\n", "A0. B5.\nM00\nM03\n").replace("G55 G43 H2\n", "G55 G43 H2 M03\n")


def events(codes):
    n = len(codes)
    return Events(
        move=np.arange(n), rule=np.full(n, AFTER, np.uint8), letter=np.full(n, ord("M"), np.uint8),
        value=np.array(codes, dtype=float), pause=np.zeros(n), wait=np.zeros(n, bool), line=np.arange(1, n + 1),
    )  # fmt: skip


def counted(codes):
    return {r.name: r.count for r in beside(events(codes), ALL).rows}


@pytest.mark.parametrize(
    ("codes", "wanted"),
    [
        ([3, 5], {"spindle start": 1}),
        ([3, 3, 13], {"spindle start": 1}),
        ([3, 4, 3], {"spindle start": 1, "spindle reversal": 2}),
        ([3, 5, 4], {"spindle start": 2}),
        ([6, 3, 6, 3], {"tool change": 2, "spindle start": 2}),
        ([3, 0, 3, 60], {"attended stop": 2, "spindle start": 2}),
        ([3, 19, 3], {"spindle start": 2}),
        ([8, 30], {}),
    ],
)
def test_what_is_counted(codes, wanted):
    """By hand, as a shop reads these words (common practice, no source)."""
    assert counted(codes) == wanted


@given(st.lists(st.sampled_from(CODES), max_size=12), st.lists(st.booleans(), min_size=4, max_size=4))
@settings(max_examples=60, deadline=None)
def test_the_proof_counts_the_same_by_its_own_way(codes, known):
    times = ShopTimes(
        tool_change=8.0 if known[0] else None, spindle_start=3.0 if known[1] else None,
        spindle_reverse=5.0 if known[2] else None, attended_stop=60.0 if known[3] else None,
    )  # fmt: skip
    found = beside(events(codes), times)
    report = {"duration_s": 12.5, "beside": beside_document(found, 12.5)}
    assert check_beside(events(codes), times, report).faults == ()
    assert np.nansum(beside_each(events(codes), times)) == found.seconds


def test_taps_reverse_the_spindle_twice_in_each_hole(tmp_path):
    """A tap goes in one way and out the other, and the next hole begins as the first did."""
    text = "G21 T1 M06\nG43 H1 S300 M03\nG00 X0 Y0 Z60\nG84 X0 Y0 Z40 R50 F300\nX20\nX40\nG80\nG00 Z60\nM30\n"
    told = json.loads((convert(tmp_path, text) / "report.json").read_text())["beside"]
    assert {r["what"]: r["count"] for r in told["rows"]} == {
        "tool change": 1, "spindle start": 1, "spindle reversal": 6,
    }  # fmt: skip


@pytest.fixture(scope="module")
def jobs(tmp_path_factory):
    place = tmp_path_factory.mktemp("beside")
    (place / "m.toml").write_text(DEMONSTRATION.read_text() + TIMES)
    for name in ("with", "without"):
        (place / name).mkdir()
    return convert(place / "with", STOPPED, "--machine", place / "m.toml"), convert(place / "without", STOPPED)


def test_it_stands_beside_the_motion_in_every_form(jobs):
    """Two changes of 8 s, two starts and one after the stop of 3 s, one stop of 60.5 s: 85.5 s."""
    told = json.loads((jobs[0] / "report.json").read_text())
    assert told["beside"]["known_s"] == 85.5
    assert told["beside"]["in_the_shop_s"] == pytest.approx(told["duration_s"] + 85.5, abs=1e-6)
    assert sum(t["beside_s"] for t in told["setup_sheet"]["tools"]) == 85.5
    text = " ".join((jobs[0] / "report.txt").read_text().split())
    said = "in the shop, with 2 tool changes of 8 s, 3 spindle starts of 3 s and 1 attended stop of 60.5 s"
    assert said in text
    assert "In the shop</dt>" in (jobs[0] / "report.html").read_text()
    assert said in (jobs[0] / "report.html").read_text()


def test_what_is_not_known_is_said(jobs):
    told = json.loads((jobs[1] / "report.json").read_text())
    assert (told["beside"]["known_s"], told["beside"]["in_the_shop_s"]) == (0.0, None)
    assert [t["beside_s"] for t in told["setup_sheet"]["tools"]] == [None, None]
    text = " ".join((jobs[1] / "report.txt").read_text().split())
    assert "2 tool changes, 3 spindle starts and 1 attended stop not counted (no times.tool_change_s, times" in text


def test_none_of_it_is_in_the_table(jobs):
    for name in ("setpoints.csv", "events.csv", "segments.json"):
        assert (jobs[0] / name).read_bytes() == (jobs[1] / name).read_bytes()


@pytest.mark.parametrize("key", ["count", "each_s", "known_s", "in_the_shop_s"])
def test_the_equations_find_a_report_that_says_another_time(jobs, tmp_path, key):
    job = copied(jobs[0], tmp_path)
    report = json.loads((job / "report.json").read_text())
    place = report["beside"] if key.endswith("n_s") or key == "in_the_shop_s" else report["beside"]["rows"][1]
    place[key] += 1
    (job / "report.json").write_text(json.dumps(report))
    sign(job)
    code, checks = proof(job)
    assert code == 2
    assert "beside" in checks


def test_times_beside_a_job_that_has_none_are_nothing():
    found = beside(events([8, 9]), ALL)
    assert beside_text(found, 10.0) == ""
    assert not found.rows


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("tool_change_s = -1", "times.tool_change_s is -1; it must be at least 0"),
        ("attended_stop_s = 90000", "times.attended_stop_s is 90000; it must be at most 86400"),
        ("spindle_start_ms = 3", "unknown key `times.spindle_start_ms`"),
        ('spindle_start_s = "3"', "times.spindle_start_s"),
    ],
)
def test_senseless_times_are_refused(line, fault):
    with pytest.raises(InputError) as caught:
        machine_from(f"{DEMONSTRATION.read_text()}\n[times]\n{line}\n".encode(), "m.toml")
    assert fault in str(caught.value)


def test_a_word_with_its_block_counts_ahead_of_one_after_it():
    """``T1 M06 M03``: the spindle starts with the block and the change after it stops it again."""
    e = events([3, 6, 3])
    e.rule[0] = WITH
    assert {r.name: r.count for r in beside(e, ALL).rows} == {"spindle start": 2, "tool change": 1}
