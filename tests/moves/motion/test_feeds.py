"""Feed: per minute, inverse time, degrees per minute; what is carried over and what is not."""

from math import hypot

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import DEG, HEAD, meaning, reading, same

from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, FEED_TIP


def feeds(text, head=HEAD, **more):
    moves = meaning(head + "G00 X0 Y0 Z0\n" + text, **more).moves
    return moves.feed[1:], moves.feed_mode[1:]


def test_feed_is_modal_and_in_mm_per_second():
    feed, mode = feeds("G01 X1 F600\nX2\nF300\nX3\nG00 X4\nG01 X5\n")
    assert feed == pytest.approx([10, 10, 5, np.inf, 5])
    assert mode.tolist() == [FEED_TIP, FEED_TIP, FEED_TIP, FEED_RAPID, FEED_TIP]


def test_inch_feeds_keep_their_speed_when_the_unit_changes():
    assert feeds("G20 G01 X1 F60\nG21 X2\nF60 X3\n")[0] == pytest.approx([25.4, 25.4, 1.0])
    assert feeds("G20 G01 A1 F60\n")[0] == pytest.approx([DEG])  # degrees know no inch
    assert feeds("G01 X1 F60\n", head="", machine=reading(units="inch"))[0] == pytest.approx([25.4])


def test_where_only_the_tool_turns_feed_is_degrees_per_minute():
    feed, mode = feeds("G01 A3 B4 F600\nX30 C40\n")
    # norm of the changes: 5 degrees at 600 degrees a minute last 0.5 s
    assert hypot(3, 4) * DEG / feed[0] == pytest.approx(0.5)
    assert mode.tolist() == [FEED_TILT, FEED_TIP]
    assert 30 / feed[1] == pytest.approx(3.0)  # tip speed on its path: 30 mm at F600


# Inverse time, unit 1/min (RS-274-D as remembered): F2.5 lasts 24 s, F12 lasts 5 s; 7.5 mm in 5 s are 90 mm/min.
@pytest.mark.parametrize(("f", "seconds"), [(2.5, 24.0), (12, 5.0)])
def test_inverse_time(f, seconds):
    feed, mode = feeds(f"G93 G01 X7.5 F{f}\nG02 X17.5 I5 F{f}\nG00 X0\n")
    assert 1 / feed[:2] == pytest.approx([seconds, seconds])
    assert mode.tolist() == [FEED_INVERSE, FEED_INVERSE, FEED_RAPID]
    assert 7.5 * feed[0] * 60 == pytest.approx(90 if f == 12 else 18.75)


def test_a_change_of_feed_mode_needs_a_new_feed():
    assert feeds("G01 X1 F60\nG93 X2 F1\nG94 X3 F120\nX4\n")[0][2:] == pytest.approx([2, 2])


PLACES = st.lists(
    st.tuples(*[st.integers(-4000, 4000).map(lambda x: x / 100)] * 3, st.integers(-300, 300).map(lambda x: x / 10)),
    min_size=1,
    max_size=12,
)


@given(places=PLACES, feed=st.integers(1, 500))
def test_an_inch_program_is_the_metric_program(places, feed):
    def spelled(k):
        rows = [
            f"X{(x + 100 * i) * k:.8f} Y{y * k:.8f} Z{z * k:.8f} A{a} F{feed * k:.8f}"
            for i, (x, y, z, a) in enumerate(places, 1)
        ]
        return "G90\nG00 X0 Y0 Z0 A50\nG01\n" + "\n".join(rows) + f"\nG02 X{2000 * k} Y{500 * k} R{2900 * k}\n"

    same(meaning("G20\n" + spelled(1)), meaning("G21\n" + spelled(25.4)))


@given(places=PLACES)
def test_an_incremental_program_is_the_absolute_program(places):
    absolute = "".join(f"X{x:.2f} Y{y:.2f} Z{z:.2f} A{a:.1f}\n" for x, y, z, a in places)
    steps = np.diff(np.array([(0, 0, 0, 0), *places]), axis=0)
    incremental = "".join(f"X{x:.2f} Y{y:.2f} Z{z:.2f} A{a:.1f}\n" for x, y, z, a in steps)
    head = HEAD + "G00 X0 Y0 Z0 A0\nG01 F100\n"
    same(meaning(head + absolute), meaning(head + "G91\n" + incremental), 1e-11)
