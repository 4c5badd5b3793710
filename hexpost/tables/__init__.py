"""Setpoint and event tables, written whole or not at all."""
