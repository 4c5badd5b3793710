"""Commands that are stopped take their workers along within a second, and nobody holds their streams."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from library.shop import CLEAN, write
from workers.processes import WITH_TWO_WORKERS, alive, descendants, until

SAMPLES = Path(__file__).parent.parent.parent / "samples"
COMMANDS = {
    "gate": ["gate", "many", "--no-cache", "--sarif", "s.sarif"],
    "place": ["place", str(SAMPLES / "frustum.nc"), "--tools", str(SAMPLES / "tools.toml"), "--setup",
              str(SAMPLES / "setup_corner.toml"), "--step-mm", "20", "-o", "placed.toml"],
    "reach": ["machine", "reach", "--out", "reach", "--step-mm", "8"],
}  # fmt: skip
IN_TIME = 1.0
"""Seconds after which every worker must be gone, on a computer that has a core for it."""
ALLOWED = IN_TIME + 9.0
"""What this test waits for at most: it may share its cores with others."""


def stopped(words, number, folder, group=False):
    """Start a command with two workers, stop it once they work; return its code, what it said, how long all took."""
    running = subprocess.Popen(
        [sys.executable, "-m", "hexpost", *words, "--jobs", "2"],
        cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    try:
        others = until(lambda: len(found := descendants(running.pid)) >= WITH_TWO_WORKERS and found, 60)
        assert others, "no workers"
        time.sleep(1.0)
        assert running.poll() is None, "over before it was stopped"
        start = time.monotonic()
        (os.killpg if group else os.kill)(running.pid, number)
        out, err = running.communicate(timeout=ALLOWED)  # ends only when nobody holds the streams
        gone = until(lambda: not any(alive(pid) for pid in others), ALLOWED)
        took = time.monotonic() - start
    finally:
        running.kill()
        running.communicate()
    assert gone, "workers are left"
    return running.returncode, out, err, took


@pytest.fixture
def shop(tmp_path):
    write(tmp_path, **{f"many__p{i:04d}": CLEAN for i in range(3000)})
    return tmp_path


@pytest.mark.skipif(sys.platform != "linux", reason="looks at processes as Linux shows them")
@pytest.mark.parametrize(
    ("name", "number"),
    [
        ("gate", signal.SIGINT),
        ("place", signal.SIGINT),
        ("reach", signal.SIGTERM),
        ("gate", signal.SIGTERM),
        ("place", signal.SIGKILL),
    ],
)
def test_workers_go_with_their_starter(shop, name, number):
    code, out, err, took = stopped(COMMANDS[name], number, shop, group=number == signal.SIGINT)
    assert code in (130, -number) and out == "" and "Traceback" not in err, err
    assert ("interrupted" in err) == (number != signal.SIGKILL)
    assert not list(shop.glob("s.sarif*")) and not (shop / "placed.toml").exists()
    assert took < ALLOWED


@pytest.mark.skipif(sys.platform != "linux", reason="looks at processes as Linux shows them")
def test_a_worker_holds_no_stream(shop):
    running = subprocess.Popen(
        [sys.executable, "-m", "hexpost", *COMMANDS["gate"], "--jobs", "2"],
        cwd=shop, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        pipes = {str(Path(f"/proc/{running.pid}/fd/{n}").readlink()) for n in (1, 2)}
        until(lambda: len(descendants(running.pid)) >= WITH_TWO_WORKERS, 60)
        workers = [pid for child in descendants(running.pid) for pid in descendants(child)]
        assert len(workers) == 2
        assert until(lambda: not any(pipes & held(pid) for pid in workers))
    finally:
        running.kill()
        running.communicate()


def held(pid):
    """Return what the open files of a process are."""
    found = set()
    for entry in Path(f"/proc/{pid}/fd").iterdir():
        try:
            found.add(str(entry.readlink()))
        except OSError:
            continue
    return found
