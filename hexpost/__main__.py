"""``hexpost`` and ``python -m hexpost``; an interruption at any moment ends without a traceback."""

import signal
import sys


def run() -> None:
    """Run the command line; what is interrupted before it can say so itself ends with 130 as well."""
    try:
        from hexpost.cli import main

        main(prog_name="hexpost")
    except KeyboardInterrupt:
        sys.exit(130)
    finally:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the code is known, and leaving takes a moment


if __name__ == "__main__":
    run()
