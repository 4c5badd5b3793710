"""Settings shared by all tests: reproducible hypothesis, floating-point faults are errors."""

import os
import signal
from pathlib import Path

import hypothesis
import numpy as np
import pytest

hypothesis.settings.register_profile("suite", deadline=None, derandomize=True, max_examples=35)
hypothesis.settings.load_profile("suite")

for name in ("COLUMNS", "NO_COLOR", "FORCE_COLOR"):  # of who runs the tests, or of the processes that they run on
    os.environ.pop(name, None)

if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:  # a shell's background job, and all that it starts, hears none
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(autouse=True)
def floating_point_faults_are_errors():
    """Division by zero, overflow and invalid operations raise, unless a test or the code lifts that on purpose."""
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        yield


@pytest.fixture(scope="session", autouse=True)
def no_key_of_the_user(tmp_path_factory):
    """Let keys of caches be made in a configuration folder of the tests, in processes that they start as well."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("configuration")))
        yield


@pytest.fixture
def root() -> Path:
    """Return the folder of the project."""
    return Path(__file__).parent.parent


@pytest.fixture(scope="module")
def untried():
    """Leave out the trials of advised feeds, which take seconds for each job that breaks a limit."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("hexpost.advised.MOST_TRIED", 0)
        yield


@pytest.fixture
def forks(monkeypatch):
    """Let this process be copied although the client of a cluster, in an earlier test, has left threads in it."""
    monkeypatch.setattr("hexpost.workers.ordered.can_fork", lambda: True)
