"""Benchmarks: ratios taken in one run. Not tests: `python -m tests.bench` prints them."""
