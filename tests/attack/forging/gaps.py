"""Damages that a proof does not find today, each with the reason. The list may only shrink."""

GAPS: dict[str, str] = {}
