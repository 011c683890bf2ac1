"""Checks against sources outside this project. Each value stands beside where it was published."""
