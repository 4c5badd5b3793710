"""Figures of each strut beside what is allowed: every value of a line is the one that was measured."""

from hexpost.audit.model import LIMITS, Worst
from hexpost.report.model import StrutUse
from hexpost.report.text import figures_text


def use(strut, *worst):
    return StrutUse(strut=strut, shortest=1000.0, longest=1500.0, worst=worst)


def worst(limit, value, allowed, strut=1, joint=0):
    ratio = value / allowed if value <= allowed else 1.2
    return Worst(
        limit=LIMITS.of(limit), strut=strut, value=value, allowed=allowed, ratio=ratio, line=3, time=0.5, joint=joint
    )


def test_what_is_allowed_stands_once_where_it_is_the_same_and_below_where_it_differs():
    struts = [
        use(1, worst("thrust", 3434.2, 12000.0), worst("joint-angle", 16.84, 60.0, joint=2)),
        use(2, worst("thrust", 4796.72, 12000.0), worst("joint-angle", 12.98, 40.0, joint=1)),
    ]
    assert [row.split() for row in figures_text(struts, 100)[3:]] == [
        ["strut", "1", "strut", "2", "allowed"],
        ["thrust", "N", "3430", "4800", "12000"],
        ["joint-angle", "deg", "16.8", "13"],
        ["allowed", "60", "40"],
        ["joint", "platform", "base"],
    ]


def test_stroke_tells_what_is_left_and_what_is_missing():
    struts = [use(1, worst("stroke", 1690.0, 1700.0)), use(2, worst("stroke", 1750.5, 1700.0))]
    assert figures_text(struts, 100)[-1].split() == ["left", "10", "-50.5"]


def test_a_strut_without_the_limit_has_a_dash():
    assert figures_text([use(1, worst("torque", 9.0, 45.0)), use(2)], 100)[4].split() == [
        "torque",
        "N",
        "m",
        "9",
        "-",
        "45",
    ]


def test_a_wide_table_is_cut_in_two():
    struts = [use(k, worst("buckling", 1234.5 * k, 1_286_550.0 + k)) for k in range(1, 7)]
    rows = figures_text(struts, 60)
    assert max(len(r) for r in rows) <= 60
    assert sum("buckling N" in r for r in rows) == 2


def test_no_limits_make_no_rows():
    assert len(figures_text([use(1), use(2)], 100)) == 4
