"""Programs begun again: at every block of every sample the rest is the tail of the whole; forms of a beginning."""

import random

import pytest
from attack import programs
from attack.jobs import SAMPLES, write
from attack.restarting import begun_again, judged, rows_unlike, runs
from moves.programs import MACHINE, TOOLS

from hexpost.errors import InputError
from hexpost.feed import plan
from hexpost.machine.load import no_setup
from hexpost.moves.order.begin import Asked, Beginning, asked
from hexpost.moves.window.extract import stretch
from hexpost.pipeline import Files, examine, load, schedule, understand
from hexpost.program.read import read

MOST = 100
"""So many blocks of a sample are tried; all of them are in the attacks."""
MOST_APART = 0.002
"""Share of its time by which fewer trials make a job longer."""


def files_of(name):
    machine = SAMPLES / f"{name}.toml"
    return Files(program=SAMPLES / f"{name}.nc", tools=SAMPLES / "tools.toml", setup=SAMPLES / "setup.toml",
                 machine=machine if machine.exists() else None)  # fmt: skip


@pytest.mark.parametrize("name", sorted(p.stem for p in SAMPLES.glob("*.nc")))
def test_from_every_block_of_a_sample_the_rest_is_the_tail_of_the_whole(name):
    def some(blocks):
        return blocks if len(blocks) <= MOST else random.Random(3).sample(blocks, 20)

    wrong, count = judged(files_of(name), some)
    assert count >= 15
    assert not wrong


@pytest.mark.parametrize("name", ["flange", "plate_inch"])
def test_rows_are_those_of_the_whole_from_the_first_full_stop_on(name):
    wrong, count = judged(files_of(name), lambda blocks: random.Random(8).sample(blocks, 8), 0.004, rows=True)
    assert count >= 7
    assert not wrong


@pytest.mark.parametrize(("name", "at"), [("overdriven", 1), ("limits", 3), ("frustum", 2)])
def test_only_how_many_stretches_are_planned_together_tells_rapids_apart(name, at, monkeypatch):
    """With few trials for the whole, as a longer job has them, rapids take other rows, within the same limits."""
    whole = load(files_of(name), 0.004)
    blocks = runs(whole)
    rest, cut = begun_again(whole, *blocks[len(blocks) // 4 + at][:2])
    assert not rows_unlike(schedule(whole), schedule(rest), cut)
    monkeypatch.setattr(plan, "SMALL", 0)
    long = schedule(whole)
    assert not rows_unlike(long, schedule(rest), cut)
    monkeypatch.undo()
    few = schedule(whole)
    assert abs(few.timing.ticks - long.timing.ticks) <= MOST_APART * few.timing.ticks
    broken = [{x.limit.name for x in examine(j).worst if x.ratio > 1.0} for j in (few, long)]
    assert broken[0] == broken[1]


def test_rounding_of_what_comes_before_decides_nothing(tmp_path):
    """A helix far above its limits, corrected in rounds, later or earlier in a job: places that are one are one."""
    files = write(tmp_path, p_nc=programs.program(random.Random(206)))
    samples = {"tools": SAMPLES / "tools.toml", "setup": SAMPLES / "setup.toml"}
    whole = load(Files(program=files["p"], **samples), 0.004)
    rest, cut = begun_again(whole, 34, 1)
    assert not rows_unlike(schedule(whole), schedule(rest), cut)


def understood(text):
    faults = []
    out = understand(read(text.encode(), "p.nc", faults), MACHINE, TOOLS, no_setup())
    assert not faults
    return out


CALLS = (
    "%\nG21 G90\nT1 M06\nG43 H1\nG00 X0 Y0 Z60\nM98 P5 L3\nM98 P6\nG00 X0\nM30\n"
    "O5\nG91 G01 X1 F900\nM98 P6 L2\nG90\nM99\nO6\nY3\nM99\n%\n"
)


def test_runs_are_counted_through_calls_of_calls():
    """By hand: line 11 runs three times, line 16 twice in each of those and once more."""
    whole = understood(CALLS)
    often = [(line, run) for line, run, *_ in runs(whole) if line in (11, 16)]
    assert often == [(11, 1), (16, 1), (16, 2), (11, 2), (16, 3), (16, 4), (11, 3), (16, 5), (16, 6), (16, 7)]
    for run in range(1, 8):
        rest, cut = begun_again(whole, 16, run)
        assert cut.block == (16, run, 7)
        left = [line for line in rest.meaning.moves.line.tolist() if line == 16]
        assert len(left) in (7 - run + 1, 7 - run + 2)  # the last part of the approach is that of the block before


def test_a_window_that_ends_in_the_block_changes_nothing():
    program = read(CALLS.encode(), "p.nc", [])
    beginning = Beginning(Asked(5))
    assert [beginning.row(stretch(program, a, b)) for a, b in ((0, 4), (4, 6), (6, 9))] == [None, 0, None]
    assert (beginning.runs, beginning.blocks, beginning.found) == (1, 3, True)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [("3", Asked(3)), ("n20", Asked(4)), (" N20 ", Asked(4)), ("4@2", Asked(4, 2)), ("N020@7", Asked(4, 7))],
)
def test_a_beginning_is_a_line_or_a_block_number_and_a_run(text, wanted):
    assert asked(read(b"%\nG21\nN10 G00 X1\nN20 X2\nM30\n%\n", "p.nc", []), text) == wanted


@pytest.mark.parametrize("text", ["", "@2", "N", "-3", "3@", "3@-1", "N10 N20", "G01", "1e3", "3@2@1"])
def test_anything_else_is_refused(text):
    with pytest.raises(InputError, match="--from-line"):
        asked(read(b"%\nG21\nN10 G00 X1\nM30\n%\n", "p.nc", []), text)


def test_between_a_tool_change_and_its_length_the_tool_in_the_spindle_is_what_comes_down():
    """H1 is in force with T2 in the spindle: 102 mm long, not 101; no length is wrong while the tool approaches."""
    text = "%\nG21 G90\nT1 M06\nG43 H1\nG00 X0 Y0 Z60\nT2 M06\nS900 M03\nG43 H2\nG00 Z60\nM30\n%\n"
    whole = understood(text)
    rest, cut = begun_again(whole, 7, 1)
    frame = rest.meaning.moves.frames[cut.frame]
    assert (frame.tool, frame.length_row, frame.length) == (2, 2, 102.0)
    assert rest.meaning.moves.end[2, rest.meaning.moves.count - 2] == pytest.approx(60.0 + 101.0 - 102.0)


def test_the_whole_is_read_as_ever():
    whole = load(files_of("flange"))
    assert whole.meaning.cut is None
    assert whole.restart is None
