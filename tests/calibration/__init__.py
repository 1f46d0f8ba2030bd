"""Calibration by simulation: how often the limits and tests of this package are right."""
