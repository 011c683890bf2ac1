"""What whoever runs the server is told, and what is in no line of it."""

from __future__ import annotations

import logging
import re
import subprocess
import sys

import httpx
import pytest

from server.book import tables
from tests.browser.conftest import CHECKOUT, serving, settings_for
from tests.conftest import somebody, stranger

LINE = re.compile(r"what=[a-z-]+( [a-z]+=[A-Za-z0-9.:/-]+)*")


@pytest.fixture
def lines(caplog):
    caplog.set_level(logging.INFO, "lychgate.door")
    return lambda: [record.getMessage() for record in caplog.records if record.name == "lychgate.door"]


def test_each_way_in_and_out_leaves_a_line(demo, lines):
    lead = somebody(demo, "lead", "Ines")
    second = somebody(demo, "second", "Cem")
    people = {row.name: row.id for row in lead.rows(tables.Person)}
    sessions = {row.person_id: row.id for row in lead.rows(tables.BrowserSession)}
    second.post("/crew/codes")
    lead.keep(f"/crew/people/{people['Cem']}/role", role="guest")
    assert second.post("/kits", name="A kit").status_code == 403
    lead.keep(f"/crew/sessions/{sessions[people['Cem']]}/end")
    lead.keep(f"/crew/people/{people['Cem']}/end")
    lead.get("/crew/data/file")
    lead.keep("/leave")
    told = lines()
    assert all(LINE.fullmatch(line) for line in told), told
    assert [re.match(r"what=(\S+)", line)[1] for line in told] == [
        "came-in", "came-in", "code-made", "role-changed", "refused", "session-ended", "let-go", "data-taken", "left",
    ]  # fmt: skip
    assert f"what=came-in by=invite crew=1 person={people['Cem']} role=second" in told
    assert f"what=refused role=guest needed=second crew=1 person={people['Cem']}" in told


def test_who_is_turned_away_is_told_with_their_address(demo, lines):
    outside = stranger(demo)
    outside.post("/join", link="x" * 43, name="Eve\nwhat=came-in crew=1")
    outside.post("/pair", code="WRONG")
    for _ in range(20):
        answer = outside.post("/pair", code="WRONG")
    assert answer.status_code == 429
    told = lines()
    assert told[:2] == ["what=turned-away by=invite from=192.0.2.7", "what=turned-away by=code from=192.0.2.7"]
    assert told[-1] == "what=too-many-tries from=192.0.2.7"
    assert all(LINE.fullmatch(line) for line in told), "nobody writes lines of their own"


def test_no_secret_is_in_what_the_server_writes(tmp_path):
    """A real server: an invite made and used, cookies, codes, links that were guessed. All that it wrote is read."""
    with serving(tmp_path / "book", opens="") as served:
        made = subprocess.run(
            [sys.executable, "-m", "server", "invite"], cwd=CHECKOUT, env=settings_for(served.data, served.port, ""),
            check=True, capture_output=True, text=True,
        )  # fmt: skip
        invite = re.search(r"join#(\S+)", made.stdout)[1]
        with httpx.Client(base_url=served.url, headers={"origin": served.url}, follow_redirects=True) as asks:

            def post(path, **fields):
                return asks.post(path, data=fields).text

            assert "The first day" in post("/join", link=invite, name="Ines of the long name")
            cookies = list(asks.cookies.values())
            assert len(cookies) == 1
            secrets = [invite, *cookies, "guessed-link-that-nobody-gave-out"]
            second = re.search(r"join#([\w-]+)", post("/crew/invites", role="guest", lasts="day", uses="1", name=""))[1]
            code = re.search(r'answer-said">([A-Z0-9-]+)<', post("/crew/codes"))[1]
            post("/join", link="guessed-link-that-nobody-gave-out", name="Eve")
        served.process.terminate()
        served.process.wait(10)
    wrote = "\n".join(served.wrote)
    assert "what=came-in by=invite" in wrote
    assert "what=turned-away by=invite" in wrote
    for secret in [*secrets, second, code, code.replace("-", ""), "Ines of the long name"]:
        assert secret not in wrote
