"""
What the server is run with: the licence of each package, and whether a fault of it is known.

    python -m tests.dependencies licences   the list; an error where a licence is none that was looked at
    python -m tests.dependencies audit      an error where a fault is known; 3 where nobody could be asked

Both are asked of requirements.lock, which is all that a server has.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from server.settings import CHECKOUT

LOCK = CHECKOUT / "requirements.lock"
# All of them let anybody run and hand on a program that uses the package as it is. LGPL and MPL bind whoever changes
# the package itself.
KNOWN = (
    "0BSD", "Apache Software License", "Apache-2.0", "BSD License", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "LGPL-3.0-only",
    "MIT", "MIT License", "MIT-CMU", "MPL-2.0", "PSF-2.0", "Python Software Foundation License", "Zlib",
)  # fmt: skip
NOBODY_ANSWERED = 3
SERVICES = ("osv", "pypi")
UNREACHABLE = (
    "ConnectionError",
    "Could not connect",
    "Max retries",
    "Name or service",
    "ServiceError",
    "Proxy",
    "timed out",
)


def names() -> list[str]:
    """The packages of the lock file."""
    return re.findall(r"(?m)^([A-Za-z0-9_.-]+)==", LOCK.read_text())


def licences() -> int:
    """Print the list."""
    asked = [sys.executable, "-m", "piplicenses", "--from=mixed", "--format=csv", "--packages", *names()]
    listed = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    unknown = []
    for name, version, licence in (re.findall(r'"([^"]*)"', line) for line in listed.splitlines()[1:]):
        print(f"{name} {version}: {licence}")
        if not all(each in KNOWN for each in re.split(r"; | AND | OR ", licence)):
            unknown.append(f"{name}: {licence}")
    if unknown:
        print(f"Licences that nobody has looked at: {', '.join(unknown)}. See KNOWN in tests/dependencies.py.")
    return 1 if unknown else 0


def audit() -> int:
    """Ask the services that know of faults, until one answers."""
    said = ""
    for service in SERVICES:
        asked = [
            sys.executable, "-m", "pip_audit", "--disable-pip", "--require-hashes", "--progress-spinner=off", "--timeout=10",
            "--strict", "-s", service, "-r", str(LOCK),
        ]  # fmt: skip
        done = subprocess.run(asked, capture_output=True, text=True, check=False, cwd=Path("/"))
        said = done.stdout + done.stderr
        if not any(each in said for each in UNREACHABLE) and "not found on" not in said:
            print(said)
            return done.returncode
    print(f"No service that knows of faults could be asked: {said.strip().splitlines()[-1] if said else ''}")
    return NOBODY_ANSWERED


if __name__ == "__main__":
    sys.exit({"licences": licences, "audit": audit}[sys.argv[1]]())
