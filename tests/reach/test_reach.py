"""Reach: each figure of a place against its definition, written out; the commands that show a machine."""

import csv
import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from machine.described import described, text
from scipy.spatial.transform import Rotation

from hexpost import pipeline
from hexpost.cli import main
from hexpost.kinematics.struts import jacobian
from hexpost.reach.job_room import room_of
from hexpost.reach.maps import page
from hexpost.reach.picture import picture
from hexpost.reach.places import all_places, gauge_struts, grid, places
from hexpost.remake import job_in
from hexpost.workers.engines import processes, serial

MACHINE = described()


def grid_places(count=60):
    rng = np.random.default_rng(3)
    x, y, z = grid(MACHINE, 100.0)
    return np.stack([rng.choice(a, count) for a in (x / 2, y / 2, z)])


def test_reach_is_strokes_and_cones_and_tilt_keeps_them():
    found = places(MACHINE, grid_places())
    struts = gauge_struts(MACHINE)
    assert 5 < found.reachable.sum() < 60
    for i in range(60):
        pose = np.concatenate([found.position[:, i], [0, 0, 0]])[:, None]
        lengths = struts.lengths(pose)[:, 0]
        inside = all(s.stroke[0] <= v <= s.stroke[1] for s, v in zip(MACHINE.struts, lengths, strict=True))
        assert inside or not found.reachable[i]
        if found.reachable[i] and found.tilt[i] > 0:
            for d in np.linspace(0, 2 * np.pi, 12, endpoint=False):
                r = Rotation.from_rotvec(found.tilt[i] * np.array([np.cos(d), np.sin(d), 0])).as_matrix()
                ends = (np.array([s.platform_joint for s in MACHINE.struts]) - MACHINE.platform.gauge_point) @ r.T
                tilted = ends + found.position[:, i] - [s.base_joint for s in MACHINE.struts]
                tilted = np.linalg.norm(tilted, axis=1)
                assert all(s.stroke[0] <= v <= s.stroke[1] for s, v in zip(MACHINE.struts, tilted, strict=True))
    assert np.isnan(found.feed[~found.reachable]).all()


def test_worst_directions_keep_every_limit_and_use_one():
    found = places(MACHINE, grid_places())
    rng = np.random.default_rng(1)
    speed = np.array([s.speed for s in MACHINE.struts])
    way = rng.normal(size=(3, 4000))
    way /= np.linalg.norm(way, axis=0)
    for i in np.flatnonzero(found.reachable)[:8]:
        pose = np.concatenate([found.position[:, i], [0, 0, 0]])[:, None]
        rows = jacobian(gauge_struts(MACHINE), pose)[0]
        for part, value in ((rows[:, :3], found.feed[i]), (rows[:, 3:], found.tilt_speed[i])):
            use = np.abs(part @ (value * way)).max(axis=1) / speed
            assert 0.98 < use.max() <= 1 + 1e-9
        force = np.array([1.0, 0, 0, 0, 0, 0])
        moved = np.linalg.inv(rows.T @ (150e3 * rows)) @ force
        assert np.linalg.norm(moved[:3]) <= 1.0 / found.stiffness[i] * (1 + 1e-9)
        assert found.acceleration[i] <= 14000 + 1e-9


def test_layers_are_put_together_in_order_whatever_the_workers():
    one, two = (all_places(MACHINE, 400.0, engine, lambda _: None) for engine in (serial(), processes(2)))
    assert np.array_equal(one.position, two.position)
    assert np.array_equal(one.tilt, two.tilt, equal_nan=True)
    assert np.array_equal(np.lexsort(one.position), np.arange(one.position.shape[1]))


def test_commands(tmp_path):
    file = tmp_path / "m.toml"
    file.write_text(text())
    check = CliRunner().invoke(main, ["machine", "check", str(file)])
    assert check.exit_code == 0, check.output
    assert "no fault found" in check.output
    assert "conditioning" in check.output and "poses with the same six lengths" in check.output
    show = CliRunner().invoke(main, ["machine", "show", str(file), "--svg", str(tmp_path / "m.svg")])
    assert show.exit_code == 0, show.output
    picture = ET.fromstring((tmp_path / "m.svg").read_text())
    assert len(picture.findall(".//{http://www.w3.org/2000/svg}line")) == 3 * 7
    options = ["machine", "reach", str(file), "--out", str(tmp_path / "r"), "--step-mm", "250"]
    reach = CliRunner().invoke(main, options)
    assert reach.exit_code == 0, reach.output
    rows = list(csv.DictReader((tmp_path / "r" / "reach.csv").read_text().splitlines()))
    assert rows and all(0 < float(r["conditioning"]) <= 1 for r in rows)
    assert "<svg" in (tmp_path / "r" / "reach.html").read_text()
    again = CliRunner().invoke(main, options)
    assert again.exit_code == 2
    assert "--overwrite replaces it" in again.output


def test_the_same_value_everywhere_is_one_colour_in_spite_of_rounding():
    x, y, z = np.meshgrid([-60.0, 0.0, 60.0], [0.0], [640.0])
    found = places(MACHINE, np.stack([x.ravel(), y.ravel(), z.ravel()]), tilts=False)
    assert found.reachable.all()
    noisy = replace(found, feed=np.array([1300.0, 1300.0 * (1 - 1e-15), 1300.0 * (1 + 1e-15)]))
    text = page(MACHINE, noisy, 60.0)
    part = text.split(">Feed in the worst direction, mm/min")[1].split("</section>")[0]
    assert "78000 everywhere" in part
    assert len(set(re.findall(r"hsl\([^)]*\)", part))) == 1


def test_the_edge_of_the_platform_does_not_cross_itself():
    """Hold the area of the polygon (shoelace formula) against that of triangles from the middle to each edge."""
    drawing = ET.fromstring(picture(MACHINE))
    assert drawing.get("viewBox") == "0 0 1140 1220"
    above = drawing.findall(".//{http://www.w3.org/2000/svg}polygon")[2].get("points")
    p = np.array([[float(v) for v in corner.split(",")] for corner in above.split()])
    p -= p.mean(axis=0)
    q = np.roll(p, -1, axis=0)
    triangles = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    assert (triangles > 0).all() or (triangles < 0).all()


def test_the_box_of_a_job_is_drawn_where_its_gauge_point_goes(tmp_path, monkeypatch):
    """With 100 mm of tool and no tilt the gauge point is 100 mm above the tip; the job begins at machine zero."""
    monkeypatch.chdir(tmp_path)
    Path("box.nc").write_text("G21 G90 G54\nT1 M06\nG43 H1\nG00 X0 Y0 Z60\nG01 X40 F3000\nY20\nZ90\nX0 Y0\nZ60\nM30\n")
    Path("tools.toml").write_text("[[tool]]\nnumber = 1\nlength_mm = 100\ndiameter_mm = 10\n")
    for words in (
        ["convert", "box.nc", "--tools", "tools.toml", "--out", "job", "--no-proof"],
        ["machine", "reach", "--job", "job", "--serial", "--step-mm", "400", "--out", "maps"],
    ):
        done = CliRunner().invoke(main, words)
        assert done.exit_code in (0, 1), done.output
    inputs = pipeline.load(pipeline.Files(program=Path("box.nc"), tools=Path("tools.toml")))
    room, pallet = room_of(pipeline.schedule(inputs), "box"), np.array(inputs.machine.pallet.pose[:3])
    assert room.low - pallet == pytest.approx([0.0, 0.0, 160.0], abs=1e-6)
    assert (room.high - pallet)[:2] == pytest.approx([40.0, 20.0], abs=1e-6)
    text = Path("maps/reach.html").read_text()
    assert 'class="job"' in text and "keeps the gauge point within x 0 to 40, y 0 to 20" in text


def test_a_job_is_drawn_with_the_units_and_switches_it_was_converted_with(tmp_path, monkeypatch):
    """A program without G20 or G21 in inch, lifted by 5 mm; 2 in are 50.8 mm (ISO 31-1: 1 in = 25.4 mm)."""
    monkeypatch.chdir(tmp_path)
    Path("box.nc").write_text("G90 G54\nG00 X0 Y0 Z2\nG01 X2 F100\nY1\nX0 Y0\nM30\n")
    for words in (
        ["convert", "box.nc", "--units", "inch", "--lift", "5", "--out", "job", "--no-proof"],
        ["machine", "reach", "--job", "job", "--serial", "--step-mm", "400", "--out", "maps"],
    ):
        done = CliRunner().invoke(main, words)
        assert done.exit_code in (0, 1), done.output
    job = job_in(Path("job"))
    room, pallet = room_of(job, "box"), np.array(job.inputs.machine.pallet.pose[:3])
    assert room.low - pallet == pytest.approx([0.0, 0.0, 55.8], abs=1e-6)
    assert (room.high - pallet)[:2] == pytest.approx([50.8, 25.4], abs=0.01)  # the corner is rounded by so much
    assert "keeps the gauge point within x 0 to 50.8, y 0 to 25.39" in Path("maps/reach.html").read_text()


def test_a_folder_without_a_job_is_refused(tmp_path):
    words = ["machine", "reach", "--job", str(tmp_path), "--out", str(tmp_path / "maps")]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 2 and "holds no job" in done.output
    (tmp_path / "report.json").write_text("{}")
    manifest = {"job": "hexpost", "schema_version": 1, "runnable": True}
    empty = {key: {} for key in ("files", "inputs", "tables", "settings")}
    (tmp_path / "manifest.json").write_text(json.dumps(manifest | empty))
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 2 and "manifest.json: settings.feed: expected one of" in done.output
