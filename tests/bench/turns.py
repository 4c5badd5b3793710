"""Calls timed in turn, so that a busy machine slows all of them alike."""

import statistics
import time

RUNS = 7


def seconds(*calls):
    """Return the median processor time of each call; a first run of all does not count."""
    times = [[] for _ in calls]
    for _ in range(RUNS + 1):
        for call, spent in zip(calls, times, strict=True):
            start = time.process_time()
            call()
            spent.append(time.process_time() - start)
    return [statistics.median(spent[1:]) for spent in times]
