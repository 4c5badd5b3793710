"""A slice of the forger: what is caught stays caught, and a gap that is closed leaves the list of gaps."""

from copy import deepcopy

import pytest
from attack import forger
from attack.forging.folder import Forgery
from attack.forging.gaps import GAPS
from attack.forging.kinds import KINDS, NotHereError
from attack.jobs import content

BASES = ("small 6", "small 2")
"""Two jobs with everything in them that can be damaged; one of them has screws."""
SLICE = 5
"""One kind in so many is tried here; the rest is left to the bench."""


@pytest.fixture(scope="module")
def jobs(tmp_path_factory):
    made = [forger.named_base(name, tmp_path_factory.mktemp("forger") / "base") for name in BASES]
    assert all(forger.proven(base.folder) for base in made)
    return made


def test_an_untouched_forgery_is_the_honest_job(jobs, tmp_path):
    for base in jobs:
        forgery = Forgery(base, base.folder, tmp_path / base.name)
        segments, report = deepcopy(forgery.segments), deepcopy(forgery.report)
        forgery.mend()
        assert (forgery.segments, forgery.report) == (segments, report)
        forgery.write()
        assert content(forgery.folder) == content(base.folder)


def caught(jobs, name, place):
    """Return whether a damage is caught in the first job that it can be done to."""
    for base in jobs:
        try:
            found = forger.attempt(base, KINDS[name], f"slice {name}", place / "forged", bisect=False)
        except NotHereError:
            continue
        return bool(found.equations or found.remade)
    return None


@pytest.mark.parametrize("name", [n for n in sorted(KINDS) if n not in GAPS][::SLICE])
def test_a_damage_is_caught(jobs, name, tmp_path):
    found = caught(jobs, name, tmp_path)
    if found is None:
        pytest.skip("these jobs have nothing to do it to")
    assert found
