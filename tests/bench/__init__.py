"""Timings, run by hand: python -m tests.bench.<name>."""
