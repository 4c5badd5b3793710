"""Tasks that misbehave in their worker; workers import this module by its name, so it imports next to nothing."""

import os
import signal
import time
from threading import Timer


def die_on_5(x):
    """Kill the process on 5, return the square of anything else."""
    if x == 5:
        os._exit(9)
    return x * x


def raise_on_5(x):
    """Raise on 5, return the square of anything else."""
    if x == 5:
        raise ValueError(f"no {x}")
    return x * x


def refuse(error, _):
    """Raise what was handed on."""
    raise error


def slow_first(x):
    """Take longest for 0, so that results come out of order."""
    time.sleep(0.3 if x == 0 else 0.0)
    return x


def deaf_on_5(x):
    """Hear no alarm on 5, as deep in compiled code: only the watchdog ends it."""
    from hexpost.library.deadline import deadline

    with deadline(0.1, grace=0.1):
        if x == 5:
            signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGALRM])
            time.sleep(30)
    return x


def hog_on_5(x):
    """Ask for a gigabyte on 5."""
    return len(bytearray(1 << 30)) if x == 5 else x


def large(_):
    """Return what takes long to send."""
    return bytes(1 << 26)


def sizeable(_):
    """Return what takes many writes to send."""
    return bytes(1 << 22)


def die_while_sending_5(x):
    """Return what takes long to send; on 5 the process dies when a part of it is sent."""
    if x == 5:
        Timer(0.1, os._exit, (9,)).start()
        return bytes(1 << 28)
    return x


def echo(x):
    """Return what was sent."""
    return x


def unsendable(_):
    """Return what no pipe takes."""
    return lambda: 0
