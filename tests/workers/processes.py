"""Processes of this computer, as Linux shows them."""

import time
from pathlib import Path

WITH_TWO_WORKERS = 4
"""Processes of a command with two workers: the server they are forked from, and what minds its resources."""


def until(true, seconds=10.0):
    """Wait for something; return what it returned at last."""
    end = time.monotonic() + seconds
    while not (value := true()) and time.monotonic() < end:
        time.sleep(0.02)
    return value


def descendants(pid):
    """Return the children of a process, theirs, and so on."""
    try:
        threads = [thread.read_text() for thread in Path(f"/proc/{pid}/task").glob("*/children")]
    except OSError:
        return []
    found = [int(child) for thread in threads for child in thread.split()]
    return found + [further for child in found for further in descendants(child)]


def alive(pid):
    """Return whether a process is there and has not ended."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False
