"""Numbers of JSON documents: six significant digits, against decimal arithmetic of the standard library.

IEEE 754 doubles, `decimal` after IEEE 854: `quantize` to the place that six digits mean, ties apart.
"""

import json
from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from verify.folders import BROKEN, convert, run

from hexpost.documents import measured, measured_column, seconds, seconds_column

pytestmark = pytest.mark.usefixtures("untried")

SIZES = st.floats(1e-9, 1e12) | st.floats(-1e12, -1e-9)


def significant(x):
    """Digits that are needed to write ``x``."""
    return len(Decimal(repr(float(x))).normalize().as_tuple().digits)


@given(SIZES)
@example(0.9999995)
@example(1e5 - 0.5)
def test_a_measured_value_has_six_significant_digits(x):
    shown = measured(x)
    place = Decimal(1).scaleb(Decimal(x).adjusted() - 5)
    assert significant(shown) <= 6
    assert abs(Decimal(shown) - Decimal(x).quantize(place, ROUND_HALF_EVEN)) <= place * Decimal("1e-6")


@given(SIZES)
def test_a_length_has_a_thousandth_of_a_millimetre_too(x):
    assert abs(measured(x, "mm") - x) <= min(0.5000001e-3, max(0.5000001e-5 * abs(x), 0.0))


@given(st.floats(1e-3, 1e6), st.floats(-1e-5, 1e-5))
@example(1234.567, -8e-7)
@example(1.0, 2.3e-16)
def test_a_value_stays_on_its_own_side_of_its_limit(limit, off):
    value = limit * (1.0 + off)
    shown = measured(value, beside=limit)
    assert (shown > limit, shown < limit) == (value > limit, value < limit)
    assert shown == pytest.approx(value, rel=5.1e-6)


def test_what_is_not_finite_is_null_and_nought_is_nought():
    assert [measured(x) for x in (float("inf"), float("nan"), 0.0, -0.0)] == [None, None, 0.0, 0.0]
    assert [seconds(x) for x in (float("nan"), 7.1000000000000005)] == [None, 7.1]


MEASURED = ("value", "ratio", "peak", "reached_mm_min", "reached_deg_min", "worst_use", "worst_ratio_before")
LENGTHS = ("shortest_mm", "longest_mm")
TIMES = ("time_s", "until_s", "duration_s", "lost_s")


def numbers(found, unit=""):
    """Every number of a document with its key and the unit that is said beside it."""
    if isinstance(found, list):
        for x in found:
            yield from numbers(x, unit)
    elif isinstance(found, dict):
        for key, x in found.items():
            if isinstance(x, float):
                yield key, x, found.get("unit", "")
            else:
                yield from numbers(x)


def check(document):
    """Hold every number of a document to the rule; return how many were held."""
    held = 0
    for key, x, unit in numbers(document):
        near = key in ("ratio", "value", "peak")  # one beside its limit may have more
        if key in LENGTHS or (key in MEASURED and unit == "mm"):
            assert significant(x) <= 6 or Decimal(repr(x)).as_tuple().exponent >= -3 or near, (key, x)
        elif key in MEASURED:
            assert significant(x) <= (9 if near else 6), (key, x)
        elif key in TIMES:
            assert Decimal(repr(x)).as_tuple().exponent >= -6, (key, x)
        else:
            continue
        held += 1
    return held


def test_every_document_of_a_job_and_of_the_gate_keeps_the_rule(tmp_path):
    job = convert(tmp_path, BROKEN)
    report, manifest = (json.loads((job / name).read_text()) for name in ("report.json", "manifest.json"))
    assert check(report) > 50
    assert report["duration_s"] == manifest["duration_s"]
    assert check(manifest) == 1
    assert check(json.loads(run("gate", tmp_path / "p.nc", "--json", "--jobs", "1")[1])) > 20
    assert check(json.loads(run("refeed", tmp_path / "p.nc", "-o", tmp_path / "new.nc", "--json")[1])) > 0


def test_columns_are_what_single_numbers_are():
    rng = np.random.default_rng(7)
    some = 10.0 ** rng.uniform(-9, 12, 4000) * rng.choice([-1.0, 1.0], 4000)
    edges = [0.0, -0.0, np.inf, -np.inf, np.nan, 999999.5, 9.9999995, 2.5e-6, 1234565.0, 0.5, 1e-7, 5e-7, 1e22, 3.0]
    x = np.concatenate([some, edges, np.rint(some), np.round(some, 4)])
    assert measured_column(x) == [json.dumps(measured(v)) for v in x.tolist()]
    assert seconds_column(x) == [json.dumps(seconds(v)) for v in x.tolist()]
    assert measured_column(x[:0]) == []
