"""
Take the README's pictures from the running program, with the demo in its book.

    .cache/tests-venv/bin/python -m demo.pictures

Needs the tests' environment (`sh tests/run` makes it) and a Chromium: on PATH, or named in LYCHGATE_CHROMIUM.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from playwright.sync_api import sync_playwright

from demo.fill import fill
from server.book.store import Book
from server.settings import CHECKOUT, Settings

PICTURES = CHECKOUT / "demo" / "pictures"
BROWSER_ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]

# name of the picture, address, width and height, and how it is looked at: light, dark or on paper
SHOTS = (
    ("day-light", "/days/1", (390, 844), "light"),
    ("day-dark", "/days/1", (390, 844), "dark"),
    ("first-day", "/start", (390, 844), "light"),
    ("meter", "/days/1/places/1/reading", (390, 844), "light"),
    ("light-through-the-day", "/days/1/light", (390, 1180), "light"),
    ("plan", "/days/1/plan", (1080, 900), "light"),
    ("sheet-on-paper", "/days/1/sheet", (794, 1123), "print"),
    ("report", "/days/1/report", (1080, 640), "light"),
)


def main() -> int:
    """Take them all."""
    chromium = os.environ.get("LYCHGATE_CHROMIUM") or shutil.which("chromium")
    if chromium is None:
        print("No Chromium on PATH; name one in LYCHGATE_CHROMIUM.", file=sys.stderr)
        return 1
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(data=Path(folder))
        book = Book(settings)
        book.migrate()
        fill(book, datetime.now(UTC))
        book.close()
        port = free_port()
        environment = os.environ | {
            "LYCHGATE_DATA": folder, "LYCHGATE_PORT": str(port), "LYCHGATE_HOST": "127.0.0.1", "LYCHGATE_OPEN": "here",
        }  # fmt: skip
        server = subprocess.Popen([sys.executable, "-m", "server", "serve"], env=environment, cwd=CHECKOUT)
        try:
            wait_for(port)
            take(chromium, f"http://127.0.0.1:{port}")
        finally:
            server.terminate()
            server.wait()
    return 0


def take(chromium: str, address: str) -> None:
    """Every shot, at twice the pixels."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=BROWSER_ARGUMENTS)
        for name, path, (width, height), scheme in SHOTS:
            page = browser.new_page(
                viewport={"width": width, "height": height},
                color_scheme="dark" if scheme == "dark" else "light",
                device_scale_factor=2,
                locale="en-GB",
            )
            if scheme == "print":
                page.emulate_media(media="print")
            page.goto(address + path)
            page.screenshot(path=PICTURES / f"{name}.png")
            page.close()
            print(f"demo/pictures/{name}.png")
        browser.close()


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for(port: int) -> None:
    """Until the server answers, ten seconds at most."""
    for _ in range(100):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise TimeoutError(port)


if __name__ == "__main__":
    sys.exit(main())
