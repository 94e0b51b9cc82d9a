"""A head on a test stand, simulated: its physics, its faults, its logger, and its server."""
