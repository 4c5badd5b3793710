"""Segments: cut at waits whatever the blocks are, checksums that anybody can compute from the table."""

import hashlib
import json
from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from setpoint_samples import smooth

from hexpost.tables.segments import Segments, Wait


def cut(rows, waits, size):
    whole = smooth(rows)
    found = Segments([Wait(row=r, word="M0", line=r + 1) for r in waits], 1e-3)
    for first in range(0, rows, size):
        found.add(part(whole, first, min(first + size, rows)))
    return whole, json.loads(found.document())["segments"]


def part(whole, first, end):
    names = ("length", "speed", "acceleration", "jerk")
    tick = whole.poses.tick[first:end]
    return replace(whole, poses=replace(whole.poses, tick=tick), **{n: getattr(whole, n)[:, first:end] for n in names})


@settings(max_examples=30)
@given(st.integers(1, 60), st.lists(st.integers(0, 59)), st.integers(1, 60))
def test_segments_cover_all_rows_once_and_end_at_the_waits(rows, waits, size):
    waits = sorted(w for w in waits if w < rows)
    whole, segments = cut(rows, waits, size)
    assert [s["last_row"] for s in segments] == sorted([*waits, *[rows - 1] * (rows - 1 not in waits)])
    assert [s["first_row"] for s in segments] == [0, *(s["last_row"] + 1 for s in segments[:-1])]
    assert [s["waits_for"]["line"] - 1 for s in segments if s["waits_for"]] == waits
    lengths = np.rint(whole.length * 1e6).astype("<i8").T
    for s in segments:
        own = lengths[s["first_row"] : s["last_row"] + 1]
        assert s["sha256"] == hashlib.sha256(own.tobytes(order="C")).hexdigest()
        assert s["rows"] == len(own) and 0 <= s["time_s"] <= s["until_s"] <= (rows - 1) * 1e-3
        own = own if len(own) else lengths[[s["last_row"]]]  # it waits where it has just waited
        assert np.array_equal(np.rint(np.array(s["lengths_before_mm"]) * 1e6), own[0])
        assert np.array_equal(np.rint(np.array(s["lengths_after_mm"]) * 1e6), own[-1])


def test_a_job_without_rows_has_one_empty_segment():
    (only,) = json.loads(Segments([], 1e-3).document())["segments"]
    assert only["rows"] == 0
