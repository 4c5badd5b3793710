"""All real assembly modes: Dietmaier's forty postures, uniform starts, counts of finds, and an honest end."""

import json
from pathlib import Path

import numpy as np
from kinematics.poses import demonstration_struts
from scipy.spatial.transform import Rotation

from hexpost.kinematics import modes
from hexpost.kinematics.frames import rotation
from hexpost.kinematics.modes import STARTS, _random_poses, _sorted_in, assembly_modes
from hexpost.kinematics.struts import Struts

PUBLISHED = Path(__file__).parent.parent / "published" / "dietmaier_1998.json"


def test_all_forty_postures_of_dietmaier_are_found():
    data = json.loads(PUBLISHED.read_text())
    struts = Struts(np.array(data["base"]), np.array(data["platform"]), "ABC")
    found = assembly_modes(struts, np.array(data["lengths"]))
    assert found.complete
    assert found.pose.shape == (6, 40)
    printed = np.array(data["solutions"])
    r = rotation(*found.pose[3:], "ABC")
    for p, x, y in printed:
        apart = np.abs(found.pose[:3] - p[:, None]).max(axis=0)
        apart += np.abs(r[:, 0] - x[:, None]).max(axis=0) + np.abs(r[:, 1] - y[:, None]).max(axis=0)
        assert apart.min() < 1e-5


def test_a_machine_knows_its_own_mode():
    struts = demonstration_struts()
    q = np.array([30.0, -20, 40, 0.1, 0.05, -0.1])
    found = assembly_modes(struts, struts.lengths(q[:, None])[:, 0], seed=1)
    assert np.abs(found.pose - q[:, None]).max(axis=0).min() < 1e-6
    assert np.abs(struts.lengths(found.pose) - struts.lengths(q[:, None])).max() < 1e-8


def test_no_mode_at_all():
    found = assembly_modes(demonstration_struts(), np.array([10.0, 5000, 10, 5000, 10, 5000]))
    assert found.pose.shape == (6, 0)


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
