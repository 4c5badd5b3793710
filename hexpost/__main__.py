"""``python -m hexpost``: the same as the ``hexpost`` command."""

from hexpost.cli import main

if __name__ == "__main__":
    main(prog_name="hexpost")
