"""Benchmarks that print ratios, measured in one run."""
