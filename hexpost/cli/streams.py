"""Standard output and standard error that are closed, full, or no longer read."""

import os
import sys
from contextlib import suppress
from pathlib import Path


def open_streams() -> None:
    """Put the null device where a stream was closed before the start: what is said goes nowhere, and nothing fails."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 - open to the end


def flush_streams() -> bool:
    """Write what still waits; return whether all that was said on standard output could be.

    A stream that fails leads to the null device from then on, so that the interpreter's own last flush does not fail.
    """
    done = True
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):
            done = done and stream is not sys.stdout
            with suppress(OSError, ValueError):
                null = os.open(os.devnull, os.O_WRONLY)
                os.dup2(null, stream.fileno())
                os.close(null)
    return done


def is_of_a_stream(error: Exception) -> bool:
    """Return whether a fault of the system came from a stream: those of files have their names."""
    return isinstance(error, OSError) and error.filename is None
