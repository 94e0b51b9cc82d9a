"""What numbers of runs and readings prove: pure functions on floats."""
