"""Tests: each folder mirrors the one of its name under server/; `published` has one file a source."""
