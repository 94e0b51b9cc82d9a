"""The film of a run: taken in, aligned with the trace, marked and published."""
