"""Recordings laid along the readings: clocks, breaks, what a recording adds."""
