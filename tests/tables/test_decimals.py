"""Authority for the text: Python's ``decimal`` module, which writes a whole number scaled by a power of ten exactly."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from setpoint_samples import setpoints, smooth

from hexpost.errors import InputError, OutputError
from hexpost.tables.columns import ALL, choose
from hexpost.tables.decimals import RowText, exact, time_decimals
from hexpost.tables.quantise import Quantiser

SIZE = 64


def text(block, columns=None, period=1e-3):
    columns = columns or choose()
    n = block.length.shape[1]
    return RowText(columns, period, SIZE).text(Quantiser(columns, period, SIZE).rows(block, 0, n)).decode()


def expected(block, period=1e-3):
    """Return the rows by the decimal module, from the same quantised numbers."""
    micros = round(period * 1e6)
    places = time_decimals(micros)
    out = []
    for i in range(block.length.shape[1]):
        row = [f"{Decimal(int(block.poses.tick[i]) * micros).scaleb(-6):.{places}f}"]
        for values, decimals in ((block.length, 6), (block.speed, 6), (block.acceleration, 3)):
            row += [f"{Decimal(round(float(x * 10.0**decimals))).scaleb(-decimals):.{decimals}f}" for x in values[:, i]]
        out.append(",".join([*row, str(int(block.poses.line[i]))]))
    return "\n".join(out) + "\n"


def block_of(values, **more):
    x = np.resize(np.asarray(values, dtype=np.float64), (3, 6, max(1, -(-len(values) // 6))))
    return setpoints(x[0], x[1], x[2], **more)


@pytest.mark.parametrize("names", [("length",), ("time", "length"), ("length", "line"), ("speed", "time")])
def test_the_slow_way_knows_a_choice_of_columns(names):
    block = setpoints(*(np.full((6, 3), x) for x in (5e7, -5e7, 5e7)))
    heads = choose().names
    chosen = [heads.index(name) for name in choose(names).names]
    rows = [",".join(row.split(",")[k] for k in chosen) for row in expected(block).splitlines()]
    assert text(block, choose(names)).splitlines() == rows


magnitudes = st.one_of(
    st.floats(-1000, 1000),
    st.floats(-13_000, 13_000),
    st.floats(-1.1e6, 1.1e6),
    st.sampled_from([0.0, -0.0, -1e-7, 5e-7, 1e-6, -1e-6, 999.9999996, -999.9999996, 999.999999, -999.999999, -1000.0]),
    st.sampled_from([9999.999999, 10000.0, 2147.483647, 2147.483648, 999_999.999999, 1e6, -999_999.9995, -1e6]),
)


@settings(deadline=None, max_examples=300)
@given(st.lists(magnitudes, min_size=1, max_size=24))
def test_text_is_the_decimal_number(values):
    block = block_of(values)
    assert text(block) == expected(block)


@settings(deadline=None, max_examples=30)
@given(st.lists(st.floats(-8e9, 8e9), min_size=1, max_size=12))
def test_numbers_beyond_any_machine_are_still_exact(values):
    """The slow way: lengths of kilometres."""
    x = np.asarray(values)[None, :].repeat(6, axis=0) * 1e-1
    block = setpoints(x, x, x)
    assert text(block) == expected(block)


@pytest.mark.parametrize("period", [1e-3, 5e-4, 1.25e-4, 2e-3, 1.0, 4e-6])
@pytest.mark.parametrize("first", [0, 999, 1000, 59_990, 12_345_678])
def test_time_has_the_decimals_that_the_period_needs(period, first):
    block = smooth(40, first, period)
    assert text(block, period=period) == expected(block, period)


@pytest.mark.parametrize("line", [1, 999, 1000, 1001, 999_999, 9_999_999, 10_000_000])
def test_line_numbers_of_any_length(line):
    block = block_of([1.0], line=[line])
    assert text(block).rstrip("\n").split(",")[-1] == str(line)


@settings(deadline=None, max_examples=40)
@given(st.sets(st.sampled_from(ALL), min_size=1))
def test_a_choice_of_columns_is_the_whole_table_with_columns_left_out(names):
    block = smooth(10)
    whole = [row.split(",") for row in text(block).splitlines()]
    at = [i for i, name in enumerate(ALL) if name in names]
    assert text(block, choose(names)).splitlines() == [",".join(row[i] for i in at) for row in whole]


def test_groups_stand_for_their_columns():
    names = choose(["speed", "line", "time", "length_3_mm"]).names
    assert names == ("time_s", "length_3_mm", *(f"speed_{k}_mm_s" for k in range(1, 7)), "line")
    assert choose().names == ALL


def test_every_unknown_column_is_named_with_a_near_one():
    with pytest.raises(InputError) as e:
        choose(["length_7_mm", "sped", "line"])
    assert str(e.value).splitlines() == [
        "--columns: unknown column `length_7_mm`; did you mean `length_6_mm`?",
        "--columns: unknown column `sped`; did you mean `speed`?",
    ]


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 1e300])
def test_what_is_no_number_is_refused_and_named(value):
    block = smooth(10)
    block.speed[3, 7] = value
    with pytest.raises(OutputError, match="speed of strut 4 in program line 1 is not a number"):
        text(block)


def test_negative_zero_is_zero():
    assert exact(0, 6) == "0.000000"
    assert "-0.000000" not in text(block_of([-0.0, -4e-7]))
