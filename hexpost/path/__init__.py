"""Moves to a six-coordinate path, corners rounded within tolerance."""
