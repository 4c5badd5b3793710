"""Frames, inverse and forward kinematics, Jacobian: pure functions."""
