"""A slice of the forger: equations catch what they did, a gap they close leaves the list, the remake shows the rest."""

from contextlib import suppress
from copy import deepcopy

import pytest
from attack import forger
from attack.forging.folder import Forgery
from attack.forging.gaps import GAPS, OPEN, SELDOM
from attack.forging.kinds import KINDS, NotHereError
from attack.jobs import content

pytestmark = pytest.mark.usefixtures("untried")

BASES = ("small 6", "small 2", "small 18")
"""Jobs with everything in them that can be damaged; one of them has screws, the last one struts that lag and bend."""
SLICE = 5
"""One kind in so many is tried here; the rest is left to the bench."""
GAPS_SLICE = 6
"""One gap in so many is shown to the remake here."""


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
    """Yield for each job that a damage can be done to whether equations alone catch it."""
    return (found.equations for found in tries(jobs, name, place, remake=False))


def tries(jobs, name, place, *, remake):
    """Yield what became of a damage in each job that it can be done to."""
    for base in jobs:
        with suppress(NotHereError):
            yield forger.attempt(base, KINDS[name], f"slice {name}", place / "forged", bisect=False, remake=remake)


@pytest.mark.parametrize("name", [n for n in sorted(KINDS) if n not in GAPS][::SLICE])
def test_a_damage_is_caught(jobs, name, tmp_path):
    found = next(caught(jobs, name, tmp_path), None)
    if found is None:
        pytest.skip("these jobs have nothing to do it to")
    assert found


@pytest.mark.parametrize("name", [n for n in GAPS if n not in SELDOM])
def test_a_gap_is_one(jobs, name, tmp_path):
    """A gap that is closed fails here: take it off the list."""
    assert not all(caught(jobs, name, tmp_path)), "equations catch this damage: take it off the list of gaps"


@pytest.mark.parametrize("name", [n for n in GAPS if n not in (*OPEN, *SELDOM)][::GAPS_SLICE])
def test_the_remake_shows_what_equations_miss(jobs, name, tmp_path):
    found = list(tries(jobs, name, tmp_path, remake=True))
    assert not all(t.equations for t in found)
    assert all(t.remade for t in found)


@pytest.mark.parametrize("name", [n for n in OPEN if n not in SELDOM])
def test_an_open_gap_is_one(jobs, name, tmp_path):
    """A gap of the remake that is closed fails here: take it off the list."""
    assert not forger.attempt(jobs[0], KINDS[name], f"slice {name}", tmp_path / "forged", bisect=False).remade


def test_there_are_at_least_sixty_kinds_and_gaps_are_some_of_them():
    assert len(KINDS) - len(GAPS) >= 150
    assert set(SELDOM) < set(GAPS) < set(KINDS)
    assert set(OPEN) < set(GAPS)


def test_the_table_says_what_passes(capsys):
    rows = forger.forge({"NaN": KINDS["NaN"], "two rows exchanged": KINDS["two rows exchanged"]}, 1.0, "slice", most=1)
    assert all(r.equations == r.remade == r.tries >= 1 for r in rows)
    assert forger.table(rows).splitlines()[0].split()[:4] == ["kind", "group", "tries", "equations"]
    assert forger.main(["--only", "no such kind"]) == 2
