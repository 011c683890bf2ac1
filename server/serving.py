"""Serving: the socket, the processes behind it, and what is said where it can be reached."""

from __future__ import annotations

import socket
import ssl
import sys
from contextlib import suppress
from typing import TYPE_CHECKING

import uvicorn
from uvicorn.supervisors import Multiprocess

from server.app import create_app
from server.door.heard import to_stdout
from server.settings import BadSetting, Settings

if sys.platform != "win32":
    import resource

if TYPE_CHECKING:
    from collections.abc import Callable

EVERYWHERE = ("0.0.0.0", "::", "")  # noqa: S104 - compared with, not bound to
STOP_SECONDS = 3  # what open pages get to finish before the server goes
WAITING_MOST = 2048  # connections that the system holds until a process takes them
FILES_MOST = 65536  # open at once, each connection being one


def serve(settings: Settings, before: Callable[[], object]) -> int:
    """
    Serve until stopped, after saying where; the exit status.

    before  what is to be done once the port is ours, and before anybody is served
    """
    try:
        listening = _listen(settings)
    except OSError as wrong:
        print(f"Cannot listen on {settings.host}, port {settings.port}: {wrong.strerror}.", file=sys.stderr)
        print("Choose another with LYCHGATE_PORT or LYCHGATE_HOST.", file=sys.stderr)
        return 1
    _allow_many_connections()
    with listening:
        before()
        _say_where(settings, listening.getsockname()[1])
        config = uvicorn.Config(
            "server.serving:application",
            factory=True,
            workers=settings.workers,
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
        with suppress(KeyboardInterrupt):  # Ctrl-C is how it is stopped, not a mistake
            if settings.workers > 1:
                Multiprocess(config, sockets=[listening]).run()
            else:
                uvicorn.Server(config).run(sockets=[listening])
    return 0


def application() -> object:
    """The application of one process, which reads the settings for itself: it may be a new one."""
    to_stdout()
    return create_app(Settings.from_environment())


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


def _listen(settings: Settings) -> socket.socket:
    """The socket, taken before anything is said, so that a taken port is said first."""
    family, _, _, _, address = socket.getaddrinfo(settings.host or None, settings.port, type=socket.SOCK_STREAM,
                                                  flags=socket.AI_PASSIVE)[0]  # fmt: skip
    listening = socket.socket(family, socket.SOCK_STREAM)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(address)
        listening.listen(WAITING_MOST)  # from here on a visitor waits for the first answer
    except OSError:
        listening.close()
        raise
    return listening


def _allow_many_connections() -> None:
    """As many open files as the system lets us have: the usual thousand would be used up by a thousand listeners."""
    if sys.platform == "win32":
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    most = FILES_MOST if hard == resource.RLIM_INFINITY else min(hard, FILES_MOST)
    if soft != resource.RLIM_INFINITY and soft < most:
        with suppress(ValueError, OSError):  # what the system does not allow
            resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))


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
