"""Speed along the path, within feed, tool-tip and jerk limits."""
