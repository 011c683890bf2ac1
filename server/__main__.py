"""The command line: python -m server serve, migrate."""

from __future__ import annotations

import argparse
import socket
import sys
from contextlib import suppress

import segno
import uvicorn

from server.app import create_app
from server.book.store import Book
from server.settings import BadSetting, Settings

LOOPBACK = ("127.0.0.1", "::1", "localhost")
EVERYWHERE = ("0.0.0.0", "::", "")  # noqa: S104 - compared with, not bound to
STOP_SECONDS = 3  # what open pages get to finish before the server goes


def main(arguments: list[str] | None = None) -> int:
    """Run one subcommand; the exit status of the process."""
    parser = argparse.ArgumentParser(prog="python -m server", description="Lychgate.")
    commands = parser.add_subparsers(dest="command", required=True)
    commands.add_parser("serve", help="bring the database up to date and serve the pages")
    commands.add_parser("migrate", help="bring the database up to date")
    command = parser.parse_args(arguments).command
    try:
        settings = Settings.from_environment()
        return serve(settings) if command == "serve" else migrate(settings)
    except BadSetting as wrong:
        print(wrong, file=sys.stderr)
        return 2


def migrate(settings: Settings) -> int:
    """Bring the tables to the newest schema."""
    book = Book(settings)
    book.migrate()
    book.close()
    print("The database is up to date.")
    return 0


def serve(settings: Settings) -> int:
    """Serve until stopped, after saying where."""
    try:
        listening = _listen(settings)
    except OSError as wrong:
        print(f"Cannot listen on {settings.host}, port {settings.port}: {wrong.strerror}.", file=sys.stderr)
        print("Choose another with LYCHGATE_PORT or LYCHGATE_HOST.", file=sys.stderr)
        return 1
    with listening:
        migrate(settings)
        _say_where(settings.host, listening.getsockname()[1])
        server = uvicorn.Server(
            uvicorn.Config(
                create_app(settings),
                log_level="warning",
                access_log=False,
                server_header=False,
                timeout_graceful_shutdown=STOP_SECONDS,
            )
        )
        with suppress(KeyboardInterrupt):  # Ctrl-C is how it is stopped, not a mistake
            server.run(sockets=[listening])
    return 0


def _listen(settings: Settings) -> socket.socket:
    """The socket, taken before anything is said, so that a taken port is said first."""
    family, _, _, _, address = socket.getaddrinfo(settings.host or None, settings.port, type=socket.SOCK_STREAM,
                                                  flags=socket.AI_PASSIVE)[0]  # fmt: skip
    listening = socket.socket(family, socket.SOCK_STREAM)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(address)
        listening.listen(2048)  # from here on a visitor waits for the first answer instead of being turned away
    except OSError:
        listening.close()
        raise
    return listening


def _say_where(host: str, port: int) -> None:
    shown = "127.0.0.1" if host in EVERYWHERE else host
    print(f"\nLychgate is open at http://{f'[{shown}]' if ':' in shown else shown}:{port}/")
    phone = _own_address() if host in EVERYWHERE else None if host in LOOPBACK else host
    if phone is None:
        print("Only this machine can open it. For a phone on the same network, set LYCHGATE_HOST=0.0.0.0.")
    else:
        url = f"http://{f'[{phone}]' if ':' in phone else phone}:{port}/"
        print(f"On a phone on the same network: {url}\n")
        segno.make(url, error="m").terminal(compact=True)
    print("Stop it with Ctrl-C.", flush=True)


def _own_address() -> str | None:
    """The address of this machine on its network. Nothing is sent: a datagram socket only picks the way out."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way_out:
        try:
            way_out.connect(("192.0.2.1", 9))  # TEST-NET-1, RFC 5737: never anybody's
            return str(way_out.getsockname()[0])
        except OSError:
            return None


if __name__ == "__main__":
    sys.exit(main())
