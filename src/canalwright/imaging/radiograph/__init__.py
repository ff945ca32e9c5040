"""Geometry of a radiograph: calibration, length, curve, and the second canal by two angulations."""
