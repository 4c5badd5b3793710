"""Cutter radius compensation: the tool centre beside the programmed contour."""
