"""Conventional part programs onto six-strut machining centres."""

__version__ = "0.1.0"
