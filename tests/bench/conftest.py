"""Benches are run by hand, not by pytest."""

collect_ignore_glob = ["*.py"]
