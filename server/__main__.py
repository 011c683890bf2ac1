"""The command line: python -m server serve, migrate, invite."""

from __future__ import annotations

import argparse
import os
import socket
import ssl
import sys
from contextlib import suppress

import segno
import uvicorn
from fastapi import FastAPI

from server.app import create_app
from server.book.crews import AmbiguousCrew, crew_to_enter
from server.book.invites import INVITE_LASTS, make_invite
from server.book.people import ROLES, THE_SERVER
from server.book.store import Book
from server.book.tables import NAME_LONGEST
from server.door.heard import to_stdout
from server.settings import BadSetting, Settings

EVERYWHERE = ("0.0.0.0", "::", "")  # noqa: S104 - compared with, not bound to
STOP_SECONDS = 3  # what open pages get to finish before the server goes


def main(arguments: list[str] | None = None) -> int:
    """Run one subcommand; the exit status of the process."""
    parser = argparse.ArgumentParser(prog="python -m server", description="Lychgate.")
    commands = parser.add_subparsers(dest="command", required=True)
    serving = commands.add_parser("serve", help="bring the database up to date and serve the pages")
    serving.add_argument("--certificate", metavar="FILE", help="serve https, with this certificate and its chain (PEM)")
    serving.add_argument("--key", metavar="FILE", help="the certificate's key (PEM), where it is a file of its own")
    commands.add_parser("migrate", help="bring the database up to date")
    inviting = commands.add_parser("invite", help="let somebody in: print a link and its QR code")
    inviting.add_argument("--role", choices=ROLES, default="lead", help="what they come as (%(default)s)")
    inviting.add_argument("--lasts", choices=INVITE_LASTS, default="day", help="how long it lets in (%(default)s)")
    crew = inviting.add_mutually_exclusive_group()
    crew.add_argument("--crew", type=_name, help="into which crew, where there are several")
    crew.add_argument("--new-crew", type=_name, help="into a new crew of this name")
    asked = parser.parse_args(arguments)
    try:
        settings = Settings.from_environment(os.environ | _files(asked))
        if asked.command == "serve":
            return serve(settings)
        return migrate(settings) if asked.command == "migrate" else invite(settings, asked)
    except BadSetting as wrong:
        print(wrong, file=sys.stderr)
        return 2


def _files(asked: argparse.Namespace) -> dict[str, str]:
    """What was said beside the command, as the settings that it stands for."""
    said = {"LYCHGATE_CERTIFICATE": "certificate", "LYCHGATE_KEY": "key"}
    return {name: getattr(asked, option) for name, option in said.items() if getattr(asked, option, None)}


def check_certificate(settings: Settings) -> None:
    """Raises BadSetting where the certificate and its key cannot be served with."""
    if settings.certificate is None:
        if settings.key is not None:
            message = "LYCHGATE_KEY: a key came without a certificate; allowed is both, or neither"
            raise BadSetting(message)
        return
    try:
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(
            settings.certificate, settings.key, password=_no_password
        )
    except (ssl.SSLError, OSError, ValueError) as wrong:
        message = (
            f"LYCHGATE_CERTIFICATE, LYCHGATE_KEY: {wrong}; allowed is a certificate in PEM and its own key, "
            "without a password"
        )
        raise BadSetting(message) from wrong


def _no_password() -> str:
    """Nobody is there to type one; without this, the library would ask for it on the terminal."""
    message = "the key has a password"
    raise ValueError(message)


def migrate(settings: Settings) -> int:
    """Bring the tables to the newest schema."""
    book = Book(settings)
    book.migrate()
    book.close()
    print("The database is up to date.")
    return 0


def invite(settings: Settings, asked: argparse.Namespace) -> int:
    """Make an invite, as the first lead of a crew needs it: nobody else can."""
    book = Book(settings)
    book.migrate()
    try:
        with book.writing() as session:
            crew = crew_to_enter(session, asked.crew, asked.new_crew)
            name = crew.name
            token = make_invite(session, crew.id, asked.role, THE_SERVER, INVITE_LASTS[asked.lasts])
    except AmbiguousCrew as wrong:
        print(wrong, file=sys.stderr)
        return 2
    finally:
        book.close()
    link = f"{address_of(settings, settings.port)}join#{token}"
    print(f"\nAn invite into “{name}” as {asked.role}, for one, for one {asked.lasts}:\n{link}\n")
    segno.make(link, error="m").terminal(compact=True)
    return 0


def _name(came: str) -> str:
    line = " ".join(came.split())
    if not 1 <= len(line) <= NAME_LONGEST:
        raise argparse.ArgumentTypeError(f"a name has 1 to {NAME_LONGEST} characters")
    return line


def serve(settings: Settings) -> int:
    """Serve until stopped, after saying where."""
    check_certificate(settings)
    try:
        listening = _listen(settings)
    except OSError as wrong:
        print(f"Cannot listen on {settings.host}, port {settings.port}: {wrong.strerror}.", file=sys.stderr)
        print("Choose another with LYCHGATE_PORT or LYCHGATE_HOST.", file=sys.stderr)
        return 1
    with listening:
        migrate(settings)
        to_stdout()
        _say_where(settings, listening.getsockname()[1])
        app = create_app(settings)
        server = _Server(
            uvicorn.Config(
                app,
                log_level="warning",
                access_log=False,
                server_header=False,
                timeout_graceful_shutdown=STOP_SECONDS,
                # Who asks, and how, is taken from a proxy's word only where one was named.
                proxy_headers=settings.proxies is not None,
                forwarded_allow_ips=settings.proxies or "",
                ssl_certfile=settings.certificate,
                ssl_keyfile=settings.key,
            )
        )
        with suppress(KeyboardInterrupt):  # Ctrl-C is how it is stopped, not a mistake
            server.run(sockets=[listening])
    return 0


class _Server(uvicorn.Server):
    """A server that lets go of the pages that listen to a day before it waits for its open answers."""

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Stop. The application itself is told only when every answer has ended."""
        app = self.config.app
        if isinstance(app, FastAPI) and hasattr(app.state, "listening"):
            app.state.listening.end()
        await super().shutdown(sockets)


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


def address_of(settings: Settings, port: int) -> str:
    """Where people reach it, with a slash at the end: as it was said, else this machine's own address."""
    if settings.address:
        return f"{settings.address}/"
    host = (_own_address() or "127.0.0.1") if settings.host in EVERYWHERE else settings.host
    scheme = "http" if settings.certificate is None else "https"
    return f"{scheme}://{f'[{host}]' if ':' in host else host}:{port}/"


def _say_where(settings: Settings, port: int) -> None:
    print(f"\nLychgate is open at {address_of(settings, port)}")
    if settings.open_here:
        print("Only this machine can open it. For a phone on the same network, set LYCHGATE_HOST=0.0.0.0.")
    else:
        print("Nothing is seen there without an invite: python -m server invite")
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
