"""Searches for poses: uniform starts, counts of finds, an honest end, and blocks that are cut where one fails."""

import numpy as np
import pytest
from kinematics.poses import demonstration_struts
from kinematics.test_forward_table import path
from scipy.spatial.transform import Rotation

from hexpost.kinematics import forward_table, modes
from hexpost.kinematics.forward import forward
from hexpost.kinematics.forward_table import SHORTEST, forward_along
from hexpost.kinematics.frames import rotation
from hexpost.kinematics.modes import STARTS, _random_poses, _sorted_in, assembly_modes


def test_random_turns_are_those_of_random_quaternions_and_places_fill_a_ball():
    middle = np.array([10.0, -20.0, 30.0])
    q = _random_poses(np.random.default_rng(5), "ABC", middle, 700.0)
    same = np.random.default_rng(5)
    direction, part, (w, x, y, z) = same.normal(size=(3, STARTS)), same.random(STARTS), same.normal(size=(4, STARTS))
    r = Rotation.from_quat(np.stack([x, y, z, w], axis=1)).as_matrix()
    assert np.allclose(rotation(*q[3:], "ABC"), np.moveaxis(r, 0, 2), atol=1e-9)
    away = q[:3] - middle[:, None]
    assert np.allclose(away / np.linalg.norm(away, axis=0), direction / np.linalg.norm(direction, axis=0))
    assert np.allclose((np.linalg.norm(away, axis=0) / 700.0) ** 3, part)  # the share of the ball inside is uniform


def test_finds_are_sorted_in_and_counted():
    one, two, three = (np.full((12, 1), x) for x in (0.1, 0.2, 0.3))
    known, met = _sorted_in(one, np.array([4]), np.concatenate([two, one, two + 4e-6, three, one - 4e-6], axis=1))
    assert known.tolist() == np.concatenate([one, two, three], axis=1).tolist()
    assert met.tolist() == [6, 2, 1]


def test_a_search_says_how_long_it_was_and_when_it_came_to_no_end(monkeypatch):
    struts = demonstration_struts()
    lengths = struts.lengths(np.array([[30.0], [-20], [40], [0.1], [0.05], [-0.1]]))[:, 0]
    found = assembly_modes(struts, lengths)
    assert found.complete and found.starts % STARTS == 0 and 3 * STARTS <= found.starts <= 15 * STARTS
    assert found.met.min() >= 3 and found.met.sum() <= found.starts
    apart = np.abs(found.pose[:, :, None] - found.pose[:, None]).max(axis=0) + 1e9 * np.eye(found.pose.shape[1])
    assert apart.min() > 1e-3
    monkeypatch.setattr(modes, "MOST_BATCHES", 2)
    short = assembly_modes(struts, lengths)
    assert not short.complete and short.starts == 2 * STARTS


def test_a_smooth_table_is_found_in_whole_blocks(monkeypatch):
    def never(*_):
        raise AssertionError("sought sample by sample")

    monkeypatch.setattr(forward_table, "_one_by_one", never)
    monkeypatch.setattr(forward_table, "SHORTEST", 2048)
    struts = demonstration_struts()
    q = path(2048 + 900)
    found = forward_along(struts, struts.lengths(q), np.zeros(6))
    assert found.converged.all() and found.rounds <= 7


def test_rounds_are_those_of_the_longest_search():
    struts = demonstration_struts()
    q = path(3 * 2048)
    found = forward_along(struts, struts.lengths(q), np.zeros(6))
    assert 3 <= found.rounds <= 9
    one = forward(struts, struts.lengths(q[:, :1]), np.zeros((6, 1)))
    assert abs(found.rounds - one.rounds) <= 3


@pytest.mark.parametrize("rounds", [2, 3, 4])
def test_blocks_that_fail_are_cut_and_come_out_the_same(monkeypatch, rounds):
    struts = demonstration_struts()
    q = path(5 * SHORTEST + 7, speed=3.0)
    monkeypatch.setattr(forward_table, "MOST_ROUNDS", rounds)
    found = forward_along(struts, struts.lengths(q), q[:, 0])
    assert found.converged.all()
    assert np.abs(found.pose - q).max() < 1e-8


def test_a_jump_to_another_assembly_mode_is_seen():
    q = path(50)
    lengths = demonstration_struts().lengths(q)
    size = 1000.0
    assert not forward_table._jumps(q[:, 1:], q[:, 0], lengths, size)
    assert not forward_table._jumps(q, q[:, 0], lengths, size)
    for row, by in ((0, 500.0), (2, -500.0), (4, 1.0)):
        other = q.copy()
        other[row, 25:] += by
        assert forward_table._jumps(other[:, 1:], q[:, 0], lengths, size)
        assert forward_table._jumps(other, q[:, 0], lengths, size)
        assert forward_table._jumps(q[:, 1:], other[:, 30], lengths, size)
    step = lengths.copy()
    step[:, 25:] += 10.0  # the machine itself moved: 500 mm are no hundred times as far
    other = q.copy()
    other[0, 25:] += 500.0
    assert not forward_table._jumps(other, q[:, 0], step, size)
