"""Machines a thousand times too slow, as guided search found them: what planning takes does not grow with the time."""

import tracemalloc

import pytest
from machine.described import text

from hexpost.errors import InputError
from hexpost.machine.load import machine_from, no_setup, no_tools
from hexpost.pipeline import parse, schedule, understand

PROGRAM = b"G21 G90 G94 G54\nG00 X0 Y0 Z60\nG01 X9 A2 F3000\nG02 X15 Y6 I6 J0\nG53 G00 Z0\nM30\n"
MOST_MB = 250


def planned(source):
    return schedule(understand(parse(PROGRAM, "p.nc"), machine_from(source.encode(), "m.toml"), no_tools(), no_setup()))


def test_a_strut_of_six_millimetres_a_second_takes_time_and_no_memory():
    source = text().replace("speed_mm_s = 1300", "speed_mm_s = 6", 1)
    tracemalloc.start()
    ticks = planned(source).timing.ticks
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    assert ticks > 25_000
    assert peak < MOST_MB


def test_a_job_that_the_struts_make_too_long_is_refused_before_it_is_corrected():
    source = text().replace("speed_mm_s = 1300", "speed_mm_s = 1e-5", 1)
    with pytest.raises(InputError, match="at most 720,000,000 "):
        planned(source)
