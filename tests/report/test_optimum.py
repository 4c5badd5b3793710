"""How near a job is to the optimum, as reports say it: rounded to the safe side, and only where it is known."""

from dataclasses import replace

import numpy as np
import pytest

from hexpost.feed.model import Reasons
from hexpost.report.feeds import feeds_document, feeds_text, optimum_text

NONE = Reasons(
    line=np.array([3], dtype=np.int32),
    programmed=np.array([50.0]),
    reached=np.array([40.0]),
    turning=np.array([False]),
    cause=np.array([3], dtype=np.uint8),
    lost=np.array([0.4]),
    total={3: 0.4},
)


@pytest.mark.parametrize(
    ("taken", "least", "share", "said"),
    [
        (10.0, 9.9, 0.011, "Within 1.1 % of the optimum: "),
        (10.0, 10.0, 0.0, "Within 0.0 % of the optimum: "),
        (12.0004, 12.0, 0.001, "Within 0.1 % of the optimum: "),
        (8.0, 4.0, 1.0, ""),
    ],
)
def test_what_is_said_is_never_too_little(taken, least, share, said):
    found = replace(NONE, taken=taken, least=least)
    document = feeds_document(found)["optimum"]
    assert document == {"at_least_s": least, "within_share": share}
    assert taken <= (1.0 + document["within_share"]) * least * (1.0 + 1e-12)
    assert optimum_text(found).startswith(said)
    assert bool(optimum_text(found)) == bool(said)


def test_the_section_on_lost_time_says_it():
    text = " ".join(feeds_text(replace(NONE, taken=10.0, least=9.87654), 76))
    assert "Within 1.3 % of the optimum" in text
    assert "takes less than 9.876 s." in text


def test_where_it_is_not_known_nothing_is_said():
    assert feeds_document(NONE)["optimum"] == {"at_least_s": None, "within_share": None}
    assert "optimum" not in " ".join(feeds_text(NONE, 76))
