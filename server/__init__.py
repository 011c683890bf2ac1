"""Lychgate: which filter to pull and how many clicks to turn, for every next place."""
