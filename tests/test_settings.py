"""Settings from the environment, and the files that come with the house."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest

from server.settings import CHECKOUT, BadSetting, Settings


def test_nothing_set_is_this_machine_alone():
    """Nobody is let in from outside without having asked for it."""
    settings = Settings.from_environment({})
    assert settings.host == "127.0.0.1"
    assert settings.port == 8000
    assert settings.data == CHECKOUT / "data"
    assert settings.database_url is None


def test_every_setting_can_be_set():
    settings = Settings.from_environment({
        "LYCHGATE_HOST": "0.0.0.0", "LYCHGATE_PORT": "80", "LYCHGATE_DATA": "/srv/mine",
        "LYCHGATE_DATABASE_URL": "sqlite:////srv/other.db", "LYCHGATE_ADDRESS": "https://light.example.org/",
        "LYCHGATE_PROXIES": "10.0.0.2", "LYCHGATE_CERTIFICATE": __file__, "LYCHGATE_KEY": __file__,
    })  # fmt: skip
    assert settings == Settings(
        "0.0.0.0", 80, Path("/srv/mine"), "sqlite:////srv/other.db", "https://light.example.org", "10.0.0.2",
        Path(__file__), Path(__file__),
    )  # fmt: skip


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "localhost"])
def test_the_demo_is_open_to_whoever_is_at_its_machine_alone(host):
    """Said for a server that others can reach, it opens nothing."""
    assert Settings.from_environment({"LYCHGATE_OPEN": "here", "LYCHGATE_HOST": host}).open_here
    assert not Settings.from_environment({"LYCHGATE_HOST": host}).open_here
    for other in ("0.0.0.0", "::", "192.0.2.1", "light.example.org"):
        assert not Settings.from_environment({"LYCHGATE_OPEN": "here", "LYCHGATE_HOST": other}).open_here


@pytest.mark.parametrize(
    "environment",
    [
        {"LYCHGATE_OPEN": "yes"}, {"LYCHGATE_OPEN": "everywhere"}, {"LYCHGATE_ADDRESS": "light.example.org"},
        {"LYCHGATE_ADDRESS": "ftp://light.example.org"}, {"LYCHGATE_ADDRESS": "https://"},
        {"LYCHGATE_ADDRESS": "https://light.example.org/app"}, {"LYCHGATE_ADDRESS": "https://light.example.org?x"},
        {"LYCHGATE_ADDRESS": "https://[light"},
    ],
)  # fmt: skip
def test_what_cannot_be_set_is_told_with_what_is_allowed(environment):
    (name,) = environment
    with pytest.raises(BadSetting, match=f"^{name}: .* came, allowed is "):
        Settings.from_environment(environment)


def test_an_empty_setting_is_one_that_is_not_set():
    """What a shell hands over for a variable without a value."""
    names = ("LYCHGATE_HOST", "LYCHGATE_PORT", "LYCHGATE_DATA", "LYCHGATE_DATABASE_URL")
    assert Settings.from_environment(dict.fromkeys(names, "")) == Settings.from_environment({})


def test_other_variables_are_passed_over():
    assert Settings.from_environment({"PORT": "1", "HOST": "::", "DATABASE_URL": "x"}) == Settings.from_environment({})


@pytest.mark.parametrize("port", ["0", "1", "65535", "08080"])
def test_a_port_is_a_number_from_0_to_65535(port):
    assert Settings.from_environment({"LYCHGATE_PORT": port}).port == int(port)


@pytest.mark.parametrize("port", ["65536", "-1", "+1", "http", "80.0", " 80", "8_0", "٨٠", "²", "0x50", "9" * 5000])
def test_what_is_no_port_is_told_with_what_is_allowed(port):
    with pytest.raises(BadSetting, match=r"^LYCHGATE_PORT: .* came, allowed is 0 to 65535$") as refused:
        Settings.from_environment({"LYCHGATE_PORT": port})
    assert len(str(refused.value)) < 200


def test_the_vendored_script_is_the_one_whose_sum_is_written_beside_it():
    """A script that was changed, or half copied, would be everybody's."""
    (sums,) = (CHECKOUT / "static").glob("*.sha256")
    wanted, name = sums.read_text(encoding="ascii").split()
    assert sums.name == f"{name}.sha256"
    assert hashlib.sha256((CHECKOUT / "static" / name).read_bytes()).hexdigest() == wanted


def test_the_pages_ask_for_the_script_that_is_there():
    """An update that forgets the page would leave it without its script."""
    base = (CHECKOUT / "templates" / "base.html").read_text(encoding="utf-8")
    for path in re.findall(r'(?:src|href)="/static/([^"]+)"', base):
        assert (CHECKOUT / "static" / path).is_file(), path


def test_the_script_comes_with_its_licence():
    assert list((CHECKOUT / "static").glob("htmx-LICENSE*"))
