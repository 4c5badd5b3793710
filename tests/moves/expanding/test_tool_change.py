"""The pose after a tool change as a key of the machine file."""

from dataclasses import replace

import numpy as np
import pytest
from moves.programs import DEG, HEAD, MACHINE, TOOLS, meaning, offsets, platform
from verify.folders import PROGRAM, convert, proof, run

from hexpost.machine.load import DEMONSTRATION, machine_from

PLACE = np.array([60.0, -30.0, MACHINE.machine_zero[2], 0.0, 0.0, 10 * DEG])
CHANGING = replace(MACHINE, tool_change=PLACE)
SETUP = offsets(G54=[10, 20, 80, 4, -3, 25])
TEXT = (
    HEAD + "G54 T1 M06\nG43 H1 G00 X0 Y0 Z60\nG01 Z50 F500\nX5 T2 M06 M09\n"
    "G43 H2\nG00 X1 Y1 Z49\nG91 M06\nG90 G01 X3 Y1 Z49\nM30\n"
)


def gauge(found, move):
    end = platform(found, found.moves.end[:, move], found.moves.frame[move], CHANGING)
    return end[:3, :3] @ MACHINE.platform.gauge_point + end[:3, 3], end[:3, :3]


def test_every_change_is_made_at_the_pose():
    found = meaning(TEXT, machine=CHANGING, tools=TOOLS, setup=SETUP)
    changes = found.events.move[found.events.value == 6]
    assert len(changes) == 3
    for move in changes.tolist():
        place, turned = gauge(found, move)
        assert place == pytest.approx(PLACE[:3], abs=1e-9)
        c, s = np.cos(10 * DEG), np.sin(10 * DEG)
        assert turned == pytest.approx(np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]), abs=1e-12)
        assert found.moves.stop[move]
    assert any("tool_change" in r for r in found.readings)


def test_the_next_motion_is_square_to_the_part_again_and_places_are_those_without_the_key():
    found, plain = (meaning(TEXT, machine=m, tools=TOOLS, setup=SETUP) for m in (CHANGING, MACHINE))
    own = [k for k in range(found.moves.count) if found.moves.frames[found.moves.frame[k]].offset != "G53"]
    assert found.moves.end[:, own] == pytest.approx(plain.moves.end, abs=1e-9)
    assert (found.moves.end[3:, own] == 0).all()


def test_motion_and_late_words_of_the_block_come_before_the_way_to_the_change():
    found = meaning(TEXT, machine=CHANGING, tools=TOOLS, setup=SETUP)
    events, moves = found.events, found.moves
    off, change = (int(events.move[np.flatnonzero(events.value == v)[-1 if v == 9 else 1]]) for v in (9, 6))
    assert off + 1 == change
    assert moves.end[0, off] == 5
    assert moves.frames[moves.frame[change]].tool == 1


def test_inches_and_a_cycle_in_force():
    text = HEAD.replace("G21", "G20") + "T1 M06\nG43 H1 G00 X0 Y0 Z3.\nG81 X1. Z1. R2. F10.\nT2 M06\nG80\nM30\n"
    found = meaning(text, machine=CHANGING, tools=TOOLS)
    for move in found.events.move[found.events.value == 6].tolist():
        assert gauge(found, move)[0] == pytest.approx(PLACE[:3], abs=1e-9)


def test_the_key_is_read_and_jobs_with_it_are_proven(tmp_path):
    z = MACHINE.machine_zero[2]
    text = DEMONSTRATION.read_text() + f"\n[tool_change]\npose_mm_deg = [40, -20, {z}, 0, 0, 15]\n"
    assert machine_from(text.encode(), "m.toml").tool_change[5] == pytest.approx(15 * DEG)
    assert proof(convert(tmp_path, PROGRAM, machine=text)) == (0, {})
    again = (PROGRAM, "--machine", tmp_path / "m.toml", "--from-line", 20, "--overwrite")
    assert proof(convert(tmp_path, *again)) == (0, {})
    (tmp_path / "m.toml").write_text(text.replace("[40,", "['x',"))
    code, output = run("audit", tmp_path / "p.nc", "--machine", tmp_path / "m.toml")
    assert code == 2
    assert "tool_change.pose_mm_deg" in output
