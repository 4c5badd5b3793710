"""A slice of the ten thousand small random jobs: refused in words or proven; forged turns are refused."""

import random

import pytest
from attack import small

COUNT = 20


def all_of(trial, name, tmp_path, count, **more):
    for k in range(count):
        place = tmp_path / str(k)
        place.mkdir()
        yield trial(random.Random(f"{name} {k}"), place, **more)


def test_small_jobs_are_refused_in_words_or_proven(tmp_path):
    found = list(all_of(small.right, "slice", tmp_path, COUNT))
    assert not [x for o in found for x in o.wrong]
    assert sum(o.clean for o in found) > COUNT // 4


@pytest.mark.parametrize("job", [593, 902, 1523])
def test_right_jobs_that_once_were_refused_are_proven(tmp_path, job):
    """An arc within one long tick; a line that leaves a corner at full speed; an acceleration at its very limit."""
    found = small.right(random.Random(f"100 {job}"), tmp_path)
    assert found.clean
    assert not found.wrong


@pytest.mark.parametrize("job", [67, 84, 107, 549, 1494, 2247])
def test_lags_at_long_periods_are_proven(tmp_path, job):
    """Rests and pure turns where rows are long beside the lags; a small, fast arc, 4 mm a row."""
    found = small.right(random.Random(f"700 {job}"), tmp_path)
    assert found.clean
    assert not found.wrong


def test_swings_at_ticks_of_half_a_period_of_the_lowest_mode_are_proven(tmp_path):
    """20 ms and 26 Hz: what is between the rows pushes the tip as much as what they show."""
    found = small.right(random.Random("700 8159"), tmp_path)
    assert found.clean
    assert not found.wrong


@pytest.mark.parametrize("job", [15999, 16280])
def test_deviations_of_turns_at_long_periods_are_proven(tmp_path, job):
    """A turn within a few rows of a fast line, whose estimate was too small; a turn far below its limit."""
    found = small.right(random.Random(f"700 {job}"), tmp_path)
    assert found.clean
    assert not found.wrong


def test_a_corner_to_a_line_in_inverse_time_keeps_its_feed(tmp_path):
    """Along a corner the tip goes a little farther than the path counts: it was 0.03 % too fast, and refused."""
    found = small.right(random.Random("700 18310"), tmp_path)
    assert found.clean
    assert not found.wrong


def test_a_turn_after_stretches_of_no_length_is_planned(tmp_path):
    """Turns of a millionth of a degree about two axes, on the way: rounding leaves stretches of no length."""
    assert small.twin(random.Random("202 13"), tmp_path).refused


def test_near_90_degrees_a_job_is_proven_or_refused_for_its_angle(tmp_path):
    found = list(all_of(small.right, "90 degrees", tmp_path, COUNT // 2, lock=True))
    assert not [x for o in found for x in o.wrong]
    assert any(small.LOCKED in o.note for o in found)


@pytest.mark.parametrize("lock", [False, True])
def test_a_forged_turn_is_refused(tmp_path, lock):
    found = list(all_of(small.twin, "forged", tmp_path, COUNT // 2, lock=lock))
    assert not [x for o in found for x in o.wrong]
    assert sum(o.refused for o in found) >= 2


def test_an_edge_of_a_smooth_curve_that_joins_three_moves_keeps_the_feed_of_the_last(tmp_path):
    """A chain at F3000 ends a little before a line at F2000: the tip was 0.1 % too fast on the line, and refused."""
    found = small.right(random.Random("700 6846"), tmp_path)
    assert found.clean
    assert not found.wrong
