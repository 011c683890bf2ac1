"""
A server that is begun again as often as it is killed, without waiting for Python to start: python -m tests.faults.mortal

The parent listens, and forks a server each time that a line comes; it says the server's process number.
"""

from __future__ import annotations

import os
import socket
import sys

import uvicorn

from server.app import create_app
from server.settings import Settings


def main() -> None:
    """Until no more lines come."""
    settings = Settings.from_environment()
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    listening.listen(256)
    print(listening.getsockname()[1], flush=True)
    for _ in sys.stdin:
        child = os.fork()
        if child == 0:
            sys.stdin.close()
            config = uvicorn.Config(create_app(settings), log_level="error", access_log=False)
            uvicorn.Server(config).run(sockets=[listening])
            os._exit(0)
        print(child, flush=True)
        os.waitpid(child, 0)
        print("over", flush=True)


if __name__ == "__main__":
    main()
