"""The files that say how it runs for good, held to the program: its settings, its commands, its bounds."""

from __future__ import annotations

import re
from dataclasses import fields

import pytest
import yaml

from server.__main__ import COMMANDS
from server.door.guard import PHOTO_MOST
from server.pages.live import BEAT
from server.serving import STOP_SECONDS
from server.settings import CHECKOUT, Settings

DEPLOY = CHECKOUT / "deploy"
FILES = sorted(path for path in DEPLOY.iterdir() if path.is_file())
SETTINGS = {f"LYCHGATE_{each.name.upper()}" for each in fields(Settings)} | {"LYCHGATE_OPEN"}


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_every_setting_and_every_command_is_one_that_there_is(file):
    said = file.read_text()
    assert set(re.findall(r"LYCHGATE_[A-Z_]+", said)) <= SETTINGS - {"LYCHGATE_OPEN"}
    assert set(re.findall(r"-m server (\w+)|\"server\", \"(\w+)\"", said)) <= {
        pair for name in COMMANDS for pair in ((name, ""), ("", name))
    }


def test_the_proxy_lets_through_what_the_server_takes():
    said = (DEPLOY / "nginx.conf").read_text()
    (most,) = re.findall(r"client_max_body_size (\d+)m;", said)
    assert int(most) * 2**20 >= PHOTO_MOST
    (quiet,) = re.findall(r"proxy_read_timeout (\d+)s;", said)
    assert int(quiet) >= 5 * BEAT, "a page that listens is not cut off between two beats"
    assert "X-Forwarded-For $remote_addr;" in said, "whoever asks must not say for themselves where they are"


def test_the_unit_waits_for_the_server_to_stop():
    said = (DEPLOY / "lychgate.service").read_text()
    (seconds,) = re.findall(r"TimeoutStopSec=(\d+)", said)
    assert int(seconds) > STOP_SECONDS


def test_the_compose_file_is_whole():
    """The server is reached through the proxy alone; its database by nobody else."""
    made = yaml.safe_load((DEPLOY / "compose.yaml").read_text())["services"]
    assert set(made) == {"database", "app", "proxy"}
    assert "ports" not in made["database"]
    app = made["app"]
    assert app["environment"]["LYCHGATE_HOST"] == app["environment"]["LYCHGATE_PROXIES"] == "127.0.0.1"
    assert sorted(app["ports"]) == ["443:443", "80:80"]
    assert made["proxy"]["network_mode"] == "service:app"
    assert (DEPLOY / app["build"]["dockerfile"].removeprefix("deploy/")).is_file()
    copied = re.findall(r"(?m)^COPY (\S+)", (DEPLOY / "Dockerfile").read_text())
    assert copied
    assert all((CHECKOUT / name).exists() for name in copied)
