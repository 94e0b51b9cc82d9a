"""Trace arrays to numbers: tach, crossings, step response, means. Pure functions on arrays."""
