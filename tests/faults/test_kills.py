"""What was answered is there after the server was killed: a few times here, hundreds by `python -m tests.faults.kills`."""

from __future__ import annotations

from tests.faults.kills import kill_often


def test_every_tap_that_was_answered_outlives_the_server(books, spare):
    """Once each, and those that were sent again because nobody answered are there once too."""
    books.copy("demo", spare)
    outcome = kill_often(spare, 5)
    assert outcome.kills == 5
    assert len(outcome.answered) >= 5
    assert outcome.lost == set()
    assert outcome.twice == 0
    assert set(outcome.kept) <= outcome.sent
    assert outcome.whole
