"""Some of many cases in every run; the others with ``pytest -m long``, as the whole suite is to be run often."""

import pytest


def sampled(cases, every):
    """Return the cases, of which only each ``every``-th is part of the usual run, the first one first."""
    return [c if k % every == 0 else pytest.param(c, marks=pytest.mark.long) for k, c in enumerate(cases)]
