"""JSON documents on standard output: each has a schema of its name, which ``hexpost schema`` prints."""

import json
from collections.abc import Mapping

import click

SCHEMA_VERSION = 1
"""Raised when a key changes its meaning or goes; new keys do not raise it."""


def tell(document: Mapping[str, object], *, indent: int | None = 1) -> None:
    """Print a document with the version of its schema; without ``indent`` it stands in one line.

    It is ASCII, so that no character of a program can act on a terminal.
    """
    click.echo(json.dumps({"schema_version": SCHEMA_VERSION, **document}, indent=indent, allow_nan=False))
