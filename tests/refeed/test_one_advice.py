"""One advice: what an audit advises was tried, is what refeed writes, and says by how much it may be too low.

On random machines and programs: with the advised feeds, what they promise to clear is gone; with as much more as the
advice names, every block it names breaks a limit again.
"""

import json
import random
import re
from dataclasses import replace
from math import ceil

import numpy as np
import pytest
from audit.test_advice_holds import fed, inputs_of
from click.testing import CliRunner
from feed.test_other_machines import machines, program

from hexpost.advised import with_tried_feeds
from hexpost.cli import main
from hexpost.machine.load import demonstration_machine
from hexpost.pipeline import examine, schedule
from hexpost.refeed.lower import refeed
from hexpost.voice import advice, times

SWING = "G21 G90 G17 G94\nG00 X-200 Y-200 Z60\nG01 X-100 Y-110 Z200 A-5 B-3 C4 F60000\nX-180 Y-190 Z70 A5 B3 C-4\nM30\n"
FEW = 40_000
FIVE = 1.05
ROUNDING = 1e-9


def soft(which):
    """Return a random machine whose struts are weak enough that feeds matter, and a program for it."""
    seed, on = machines()[which]
    rng = random.Random(seed)
    struts = tuple(
        replace(
            s, speed=rng.uniform(60, 300), acceleration=s.acceleration * rng.uniform(0.3, 1), jerk=1e12,
            stroke=(1, 1e12),
        )
        for s in on.struts
    )  # fmt: skip
    return inputs_of(program(seed, 1.0), replace(on, period=0.004, struts=struts))


def advised(found):
    """Return the advised feeds by line, mm/s or rad/s; what they promise to clear; how much more is too much."""
    f = found.findings
    at = np.flatnonzero(f.tried)
    unit = np.where(f.turning[at], np.radians(1.0), 1.0) / 60.0
    feeds = dict(zip(f.line[at].tolist(), (f.feed[at] * unit).tolist(), strict=True))
    promised = set(zip(f.line[at].tolist(), f.limit[at].tolist(), strict=True))
    return feeds, promised, dict(zip(f.line[at].tolist(), f.room[at].tolist(), strict=True))


def left(inputs, feeds, share=1.0):
    """Return the lines and limits that are broken with a share of ``feeds``, none above the programmed one."""
    share *= 1.0 + ROUNDING * (share > 1.0)
    f = examine(schedule(fed(inputs, {line: share * value for line, value in feeds.items()}))).findings
    return set(zip(f.line.tolist(), f.limit.tolist(), strict=True))


def holds(inputs, most=10**9):
    job = schedule(inputs)
    found = with_tried_feeds(job, examine(job), most)
    feeds, promised, rooms = advised(found)
    assert not promised & left(inputs, feeds)
    for share in sorted(set(rooms.values())):
        back = {line for line, _ in left(inputs, feeds, share)}
        assert {line for line, room in rooms.items() if room == share} <= back, share
    if rooms and min(rooms.values()) <= FIVE:
        assert {line for line, _ in left(inputs, feeds, FIVE)} & feeds.keys()
    return found


@pytest.mark.parametrize("which", [0, 2, 8, 11])
def test_advice_holds_and_five_per_cent_more_does_not_or_it_says_by_how_much(which):
    holds(soft(which), FEW)


@pytest.mark.long
@pytest.mark.parametrize("which", range(22))
def test_advice_holds_on_many_machines(which):
    holds(soft(which))


@pytest.fixture(scope="module")
def swing():
    """Return a program whose feeds are too high, and its audit."""
    inputs = inputs_of(SWING, demonstration_machine())
    return inputs, holds(inputs)


def test_advice_is_what_refeed_writes(swing):
    inputs, found = swing
    words = {int(f.line): f.f_word(f.feed) for f in (found.findings.row(i) for i in range(found.findings.count))}
    refed = refeed(inputs)
    assert words and {c.old_line: c.now for c in refed.changes} == words
    assert not refed.after.findings.count
    assert all("This F is tried: 5 % more is too fast." in advice(found.findings.row(i)) for i in range(len(words)))


def test_audit_refeed_gate_and_page_say_one_feed(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "swing.nc").write_text(SWING)

    def run(*words):
        return CliRunner().invoke(main, list(words)).output

    audit = json.loads(run("audit", "swing.nc", "--json"))["findings"]
    gate = json.loads(run("gate", "swing.nc", "--json", "--no-cache"))["cases"][0]["findings"]
    refed = json.loads(run("refeed", "swing.nc", "-o", "new.nc", "--json"))["changed"]
    run("convert", "swing.nc", "--out", "job")
    page = (tmp_path / "job" / "report.html").read_text()
    said = {(f["line"], f["advice_f"]) for f in audit if f["advice_f"]}
    assert said == {(c["old_line"], c["feed"]) for c in refed}
    assert said == {(f["line"], f["advice_f"]) for f in gate if f["advice_f"]}
    assert {float(x) for x in re.findall(r"rite F([0-9.]+)", page)} == {f for _, f in said}
    assert {f["advice_low_by_percent"] for f in audit if f["advice_tried"]} <= {5, 10, 20}


def test_what_cannot_be_tried_says_so_and_by_how_much_it_is_too_low_at_most():
    inputs = inputs_of(SWING, demonstration_machine())
    job = schedule(inputs)
    result = examine(job)
    found = with_tried_feeds(job, result, 1)
    f = found.findings
    assert not f.tried.any() and (f.feed == result.findings.feed).all()
    assert f.room == pytest.approx(np.full(f.count, (60000.0 / f.feed).max()))
    assert f.room[0] > 2.0
    high = float(advice(f.row(0)).split("This F is not tried: up to ")[1].split(" times as much may do.")[0])
    assert f.room[0] <= high <= f.room[0] + 0.1


def test_feeds_that_are_far_off_are_told_by_times_and_never_by_less():
    """66,815 % too low is nothing that anybody reads."""
    row = next(r for r in map(_broken().findings.row, range(9)) if r.advises_feed)
    told = {
        1.05: "it may be up to 5 % too low.", 2.0: "it may be up to 100 % too low.",
        2.01: "up to 2.1 times as much may do.", 4.0: "up to 4 times as much may do.",
        669.15: "up to 670 times as much may do.", 12345.6: "up to 12346 times as much may do.",
    }  # fmt: skip
    for room, words in told.items():
        assert advice(replace(row, room=room, tried=False)).endswith(f"This F is not tried: {words}")
    assert advice(replace(row, room=669.15, tried=True)).endswith("This F is tried: 670 times as much is too fast.")
    assert advice(replace(row, room=1.4, tried=True)).endswith("This F is tried: 40 % more is too fast.")


def _broken():
    inputs = inputs_of(SWING, demonstration_machine())
    return examine(schedule(inputs))


def test_trials_that_end_early_leave_feeds_that_hold():
    inputs = inputs_of(SWING, demonstration_machine())
    early = holds(inputs, 6_000)
    assert early.findings.tried.any()


def test_a_block_under_inverse_time_is_left_alone_and_bounded():
    text = "G21 G90\nG00 X0 Y0 Z100\nG93 G01 X60 F1200\nG94 G01 X0 A5 F90000\nM30\n"
    weak = demonstration_machine()
    weak = replace(weak, struts=tuple(replace(s, speed=200.0) for s in weak.struts))
    job = schedule(inputs_of(text, weak))
    found = with_tried_feeds(job, examine(job), FEW).findings
    timed = found.line == 3
    assert timed.any() and not found.tried[timed].any() and found.tried[found.line == 4].any()
    rows = [found.row(i) for i in np.flatnonzero(timed & np.isfinite(found.feed))]
    assert rows and all(r.f_unit == "1/min" and r.room >= 1200.0 / (r.feed * r.f_share) * (1 - 1e-9) for r in rows)


@pytest.mark.parametrize("f", ["F90000", "F1200"])
def test_a_line_that_runs_at_a_feed_and_under_inverse_time_is_bounded_by_the_faster_of_both(f):
    """A subprogram's block of 60 mm, at so many mm/min in one run and in 1/F min in the other: F1200 means 72,000."""
    text = f"G21 G90\nG00 X0 Y0 Z100\nG01 M98 P7\nG00 X0\nG93 G01 M98 P7\nG94 M30\nO7\nG01 X60 {f}\nM99\n"
    weak = demonstration_machine()
    weak = replace(weak, struts=tuple(replace(s, speed=200.0) for s in weak.struts))
    job = schedule(inputs_of(text, weak))
    found = with_tried_feeds(job, examine(job), FEW).findings
    rows = [found.row(i) for i in np.flatnonzero((found.line == 8) & np.isfinite(found.feed))]
    fastest = 60.0 * float(f[1:])
    assert rows and not any(r.f_unit or r.tried for r in rows)
    assert all(r.room == pytest.approx(max(fastest / x.feed for x in rows)) for r in rows)
    assert all(advice(r).endswith(f"{times(r.room)} may do.") for r in rows)


def test_the_most_rows_of_a_job_are_no_bound_of_the_trials(tmp_path):
    """A trial with lower feeds takes longer than the job, which may have no more rows than it has."""
    (tmp_path / "p.nc").write_text(SWING)
    words = ["audit", str(tmp_path / "p.nc"), "--json", "--period-ms", "4"]
    whole = CliRunner().invoke(main, words)
    rows = json.loads(whole.output)["rows"]
    bound = CliRunner().invoke(main, [*words, "--most-rows", str(rows)])
    assert whole.exit_code == 1 and bound.output == whole.output


def test_a_feed_for_the_margin_of_a_policy_says_that_it_is_not_tried(swing):
    inputs, plain = swing
    asked = replace(inputs.checking, margins=(("speed", 0.9), ("acceleration", 0.95)))
    job = schedule(replace(inputs, checking=asked))
    found = with_tried_feeds(job, examine(job)).findings
    rows = [f for f in map(found.row, range(found.count)) if f.advises_feed]
    both, margin = ([f for f in rows if (f.feed is None) is x] for x in (False, True))
    assert {f.f_word(f.feed) for f in both} == {f.f_word(f.feed) for f in map(plain.findings.row, (0,))}
    assert all("for the margin of the policy" in advice(f) and "(not tried)" in advice(f) for f in both)
    low = [f"up to {ceil(100 * (f.room - 1))} %" if f.room <= 2.0 else f"up to {times(f.room)}" for f in margin]
    assert margin and all(x in advice(f).split("is not tried: ")[1] for x, f in zip(low, margin, strict=True))
    assert all(f.room >= 60000.0 / f.margin_feed * (1 - 1e-9) for f in margin)
