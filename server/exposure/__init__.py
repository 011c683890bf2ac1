"""
The engine: exposure at a place, and the exact best way to get there by hand.

Pure functions over frozen dataclasses. Nothing here knows the web, a database, a clock or a file; words come in the
language of whoever asks, from `server.language`, which knows neither web nor database.
"""
