"""The command line as a person types it: python -m server, python -m demo.fill."""

from __future__ import annotations

import queue
import re
import signal
import socket
import sqlite3
import ssl
import subprocess
import sys
import threading
import time
from contextlib import contextmanager

import httpx
import pytest
import trustme

from demo import fill as demo_fill
from server import __main__ as server_command
from server.settings import CHECKOUT, DATABASE_FILE
from tests.conftest import environment_for

START_SECONDS, STOP_SECONDS = 60, 10  # a machine that is busy; the server itself gives open pages 3 s


def run(environment, *command, **changes):
    return subprocess.run(
        [sys.executable, "-m", *command], cwd=CHECKOUT, env=environment | changes, capture_output=True, text=True,
        timeout=START_SECONDS, check=False,
    )  # fmt: skip


class Serving:
    """A server that was started, with all that it said so far."""

    def __init__(self, environment, *options):
        self.process = subprocess.Popen(
            [sys.executable, "-m", "server", "serve", *options], cwd=CHECKOUT, env=environment,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        self.said = []
        self._lines = queue.Queue()
        self._readers = [threading.Thread(target=self._read, args=(pipe,)) for pipe in self.pipes]
        for reader in self._readers:
            reader.start()

    @property
    def pipes(self):
        return self.process.stdout, self.process.stderr

    def _read(self, pipe):
        for line in pipe:
            self._lines.put(line)

    def until(self, pattern):
        """The first line that matches, of those that come."""
        until = time.monotonic() + START_SECONDS
        while time.monotonic() < until:
            try:
                self.said.append(self._lines.get(timeout=0.2))
            except queue.Empty:
                assert self.process.poll() is None, f"it stopped: {self.said}"
                continue
            if found := re.search(pattern, self.said[-1]):
                return found
        pytest.fail(f"it never said {pattern}: {self.said}")

    def answers(self, path="/"):
        """The answer at this path. Who comes as soon as the address is said waits, and is not turned away."""
        return httpx.get(self.url + path, timeout=START_SECONDS)

    def stop(self, by=signal.SIGTERM):
        """How many seconds it took to stop."""
        start = time.monotonic()
        self.process.send_signal(by)
        self.process.wait(STOP_SECONDS)
        return time.monotonic() - start

    def end(self):
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(STOP_SECONDS)
        for reader in self._readers:
            reader.join(STOP_SECONDS)
        for pipe in self.pipes:
            pipe.close()
        while not self._lines.empty():
            self.said.append(self._lines.get())


@contextmanager
def serving(environment, *options):
    server = Serving(environment, *options)
    try:
        server.url = server.until(r"open at (https?://\S+)/")[1]
        server.until("Stop it with Ctrl-C")
        yield server
    finally:
        server.end()


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """One server for the tests that only ask."""
    with serving(environment_for(tmp_path_factory.mktemp("served"))) as server:
        yield server


def test_serve_says_where_and_answers_there(served):
    """On an empty folder: the database is made, the address is said, and the first page is there."""
    assert re.fullmatch(r"http://127\.0\.0\.1:\d+", served.url)
    assert any("Only this machine can open it" in line for line in served.said)
    answer = served.answers()
    assert answer.status_code == 200
    assert "What do you film?" in answer.text


def test_an_empty_body_is_answered_by_the_server_itself(served):
    """A call without a body must not wait for one for ever."""
    answer = httpx.post(served.url + "/api/moves", headers={"content-type": "application/json"}, timeout=START_SECONDS)
    assert answer.status_code == 422


def test_a_body_over_the_bound_is_answered_by_the_server_itself(served):
    """A client that is still sending reads the refusal, and does not find its connection broken."""
    answer = httpx.post(served.url + "/api/moves", content=(b"a" * 100_000 for _ in range(100)), timeout=START_SECONDS)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"


def test_no_word_of_the_server_has_a_link_s_secret_in_it(environment):
    """The address of a sheet holds it, and whatever a server writes is read by others."""
    secret = "S" * 43
    with serving(environment) as server:
        for path in (f"/s/{secret}", f"/s/{secret}/sheet.pdf", f"/c/{secret}/order.ics"):
            assert server.answers(path).status_code == 404
        server.stop()
    assert not any(secret in line for line in server.said)


def test_nothing_is_said_of_the_server_s_make(served):
    """Whoever looks for a hole in a version should have to look."""
    assert "uvicorn" not in str(served.answers().headers).lower()


@pytest.fixture
def here(environment, monkeypatch, capsys):
    """The same commands in this process, where nothing is started: starting a Python for each takes a second."""

    def command(module, *arguments, **changes):
        for name, value in (environment | changes).items():
            monkeypatch.setenv(name, value)
        status = module.main(list(arguments)) if arguments else module.main()
        return status, *capsys.readouterr()

    return command


def test_a_port_that_is_taken_is_said_in_words(environment):
    """Which, why, and what to do: no traceback."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        tried = run(environment, "server", "serve", LYCHGATE_PORT=port)
    assert tried.returncode == 1
    assert f"Cannot listen on 127.0.0.1, port {port}" in tried.stderr
    assert "LYCHGATE_PORT" in tried.stderr
    assert "Traceback" not in tried.stderr
    assert "open at" not in tried.stdout


def test_a_host_that_is_not_there_is_said_in_words(here):
    status, _, complaint = here(server_command, "serve", LYCHGATE_HOST="no-such-host.invalid")
    assert status == 1
    assert "Cannot listen on no-such-host.invalid" in complaint
    assert "LYCHGATE_HOST" in complaint


def test_a_bad_setting_is_said_in_words_by_the_program(environment):
    """As the person who set it sees it: one line, and no traceback."""
    tried = run(environment, "server", "serve", LYCHGATE_PORT="eighty")
    assert (tried.returncode, tried.stdout) == (2, "")
    assert tried.stderr == "LYCHGATE_PORT: 'eighty' came, allowed is 0 to 65535\n"


COMMANDS = [(server_command, "serve"), (server_command, "migrate"), (demo_fill,)]


@pytest.mark.parametrize("command", COMMANDS, ids=["serve", "migrate", "demo.fill"])
def test_a_bad_setting_is_said_in_words(here, command):
    assert here(*command, LYCHGATE_PORT="eighty") == (
        2, "", "LYCHGATE_PORT: 'eighty' came, allowed is 0 to 65535\n",
    )  # fmt: skip


@pytest.mark.parametrize("command", COMMANDS, ids=["serve", "migrate", "demo.fill"])
def test_a_data_folder_that_cannot_be_is_said_in_words(here, tmp_path, command):
    """A file stands where the folder should be."""
    (tmp_path / "file").touch()
    status, said, complaint = here(*command, LYCHGATE_DATA=str(tmp_path / "file"))
    assert (status, said) == (2, "")
    assert complaint.startswith(f"LYCHGATE_DATA: {tmp_path / 'file'} came")


@pytest.mark.parametrize("arguments", [[], ["dance"], ["serve", "--port", "80"]], ids=" ".join)
def test_a_command_that_is_none_is_told_those_that_are(arguments, capsys):
    with pytest.raises(SystemExit) as stopped:
        server_command.main(arguments)
    assert stopped.value.code == 2
    assert "usage: python -m server" in capsys.readouterr().err


@pytest.mark.parametrize("by", [signal.SIGTERM, signal.SIGINT], ids=lambda by: by.name)
def test_the_server_stops_within_seconds(environment, by):
    """When it is told to, though a page keeps its connection open, and without a complaint."""
    with serving(environment) as server, httpx.Client() as browser:
        server.answers()
        browser.get(server.url)
        assert server.stop(by) < STOP_SECONDS
    assert not [line for line in server.said if "Traceback" in line or "Error" in line]


def test_what_was_kept_is_there_when_the_server_is_started_again(environment):
    with serving(environment) as server:
        server.answers()
        assert httpx.post(server.url + "/kits", data={"name": "Kept kit"}, timeout=START_SECONDS).status_code == 303
        server.process.kill()
    with serving(environment) as server:
        assert "Kept kit" in server.answers().text


def test_migrate_makes_the_book_and_leaves_one_that_is_there(environment, here, tmp_path):
    file = tmp_path / "data" / DATABASE_FILE
    first = run(environment, "server", "migrate")
    assert (first.returncode, first.stderr) == (0, "")
    assert first.stdout == "The database is up to date.\n"
    before = rows(file)
    assert here(server_command, "migrate") == (0, first.stdout, "")
    assert rows(file) == before


def test_the_first_lead_comes_in_by_an_invite_of_the_command_line(environment):
    """A server that others can reach shows nothing, and whoever runs it lets the first one in."""
    with serving(environment | {"LYCHGATE_OPEN": ""}) as server:
        assert any("python -m server invite" in line for line in server.said)
        assert server.answers().status_code == 401
        made = run(environment, "server", "invite", LYCHGATE_ADDRESS="https://light.example")
        assert (made.returncode, made.stderr) == (0, "")
        secret = re.search(r"https://light\.example/join#([\w-]{43})\n", made.stdout)[1]
        assert "“My crew” as lead" in made.stdout
        with httpx.Client(base_url=server.url, headers={"origin": server.url}, timeout=START_SECONDS) as browser:
            assert browser.post("/join", data={"link": secret, "name": "Ines"}).status_code == 303
            assert browser.get("/").status_code == 200
            assert "<b>Ines</b> (you)" in browser.get("/crew").text
    assert not [line for line in server.said if secret in line], "the server's own words hold no secret"


def test_several_crews_live_on_one_server(here):
    """And which one an invite is for must be said."""
    assert here(server_command, "invite", "--new-crew", "Harbour  weddings")[0] == 0
    status, said, _ = here(server_command, "invite", "--new-crew", "Hill", "--role", "guest", "--lasts", "hour")
    assert status == 0
    assert "“Hill” as guest, for one, for one hour" in said
    status, said, complaint = here(server_command, "invite")
    assert (status, said) == (2, "")
    assert complaint == "Say with --crew which one is meant. There are: “Harbour weddings”, “Hill”.\n"
    assert here(server_command, "invite", "--crew", "Harbour weddings")[0] == 0


def test_a_crew_has_a_name(capsys):
    with pytest.raises(SystemExit):
        server_command.main(["invite", "--new-crew", " "])
    assert "a name has 1 to 80 characters" in capsys.readouterr().err


def test_the_demo_is_filled_in_once(environment, tmp_path):
    """Run again, it says so, and changes nothing that the visitor did."""
    file = tmp_path / "data" / DATABASE_FILE
    first = run(environment, "demo.fill")
    assert (first.returncode, first.stdout, first.stderr) == (0, "The demo is in the book.\n", "")
    before = rows(file)
    assert len(before["places"]) == 8
    second = run(environment, "demo.fill")
    assert (second.returncode, second.stdout, second.stderr) == (0, "The demo was in the book already.\n", "")
    assert rows(file) == before


def rows(file):
    connection = sqlite3.connect(file)
    names = [name for (name,) in connection.execute("select name from sqlite_master where type = 'table'")]
    found = {name: connection.execute(f"select * from {name}").fetchall() for name in names}  # noqa: S608 - ours
    connection.close()
    return found


@pytest.fixture(scope="module")
def certified(tmp_path_factory):
    """An authority that nobody else knows, and what it gave to this machine: (authority, certificate, key)."""
    folder = tmp_path_factory.mktemp("certified")
    authority = trustme.CA()
    given = authority.issue_cert("127.0.0.1")
    given.cert_chain_pems[0].write_to_path(folder / "certificate.pem")
    given.private_key_pem.write_to_path(folder / "key.pem")
    given.private_key_and_cert_chain_pem.write_to_path(folder / "both.pem")
    authority.issue_cert("other.example").private_key_pem.write_to_path(folder / "other-key.pem")
    return authority, folder


def test_a_certificate_makes_it_https(environment, certified):
    """A phone has no service worker without it; the cookie is held to it, and browsers are told to stay on it."""
    authority, folder = certified
    trusting = ssl.create_default_context()
    authority.configure_trust(trusting)
    options = ("--certificate", str(folder / "certificate.pem"), "--key", str(folder / "key.pem"))
    with serving(environment | {"LYCHGATE_OPEN": ""}, *options) as server:
        assert server.url.startswith("https://")
        port = {"LYCHGATE_PORT": server.url.rpartition(":")[2], "LYCHGATE_CERTIFICATE": str(folder / "both.pem")}
        link = re.search(r"(https://\S+/join)#(\S+)", run(environment, "server", "invite", **port).stdout)
        assert link[1].startswith(server.url)
        with httpx.Client(verify=trusting, base_url=server.url, headers={"origin": server.url}) as asks:
            came = asks.post("/join", data={"link": link[2], "name": "Ines"}, timeout=START_SECONDS)
            assert came.status_code == 303
            assert came.headers["set-cookie"].startswith("__Host-lychgate=")
            assert "Secure" in came.headers["set-cookie"]
            assert "max-age=31536000" in came.headers["strict-transport-security"]
            assert asks.get("/", timeout=START_SECONDS).status_code == 200


WRONG_CERTIFICATES = {
    "no such file": ({"LYCHGATE_CERTIFICATE": "nowhere.pem"}, "there is no file"),
    "another's key": ({"LYCHGATE_CERTIFICATE": "certificate.pem", "LYCHGATE_KEY": "other-key.pem"}, "its own key"),
    "no key at all": ({"LYCHGATE_CERTIFICATE": "certificate.pem"}, "its own key"),
    "a key alone": ({"LYCHGATE_KEY": "key.pem"}, "without a certificate"),
}


@pytest.mark.parametrize(("files", "word"), WRONG_CERTIFICATES.values(), ids=WRONG_CERTIFICATES)
def test_a_certificate_that_does_not_serve_is_told_before_anything_is_open(environment, certified, files, word):
    done = run(environment, "server", "serve", **{name: str(certified[1] / file) for name, file in files.items()})
    assert done.returncode == 2
    assert word in done.stderr
    assert "Traceback" not in done.stderr
    assert "open at" not in done.stdout
