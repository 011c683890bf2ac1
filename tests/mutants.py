"""
Mutation testing of the engine, by mutmut, on a sample: changes are made to its code, and the tests must notice.

    python -m tests.mutants 300      so many mutants, drawn from all modules at random; then the score and who survived

All of them would take a day on two processors. mutmut is installed beside (pip install mutmut): it is not among the
packages that the tests need. It works in a folder `mutants`, which can be deleted.
"""

from __future__ import annotations

import json
import random
import subprocess
import sys
from collections import Counter
from pathlib import Path

MADE = Path("mutants")
KILLED, TIMED_OUT = {1, 3}, {24, 36, 152, 255, -24}
NO_TESTS = {5, 33}


def names() -> list[str]:
    """Every mutant that there is."""
    return sorted(
        name
        for meta in MADE.rglob("*.meta")
        for name in json.loads(meta.read_text())["exit_code_by_key"]
    )  # fmt: skip


def outcomes() -> dict[str, int | None]:
    """The exit status of the tests with each mutant; None where they were not run."""
    found: dict[str, int | None] = {}
    for meta in MADE.rglob("*.meta"):
        found |= json.loads(meta.read_text())["exit_code_by_key"]
    return found


def mutmut(*arguments: str) -> str:
    """Run it."""
    done = subprocess.run(["mutmut", *arguments], capture_output=True, text=True, check=False)
    return done.stdout + done.stderr


def main() -> int:
    """Print the score; 1 where no mutant was tried."""
    count = int(sys.argv[1])
    if not names():
        mutmut("run", "no such mutant")  # makes them, and learns which test calls what
    every = names()
    chosen = random.Random(1).sample(every, min(count, len(every)))  # noqa: S311 - no secret
    mutmut("run", *chosen)
    said = outcomes()
    tried = {name: said[name] for name in chosen if said.get(name) is not None}
    scores = Counter(
        "killed" if status in KILLED else "timed out" if status in TIMED_OUT else "no test" if status in NO_TESTS else "survived"
        for status in tried.values()
    )  # fmt: skip
    print(f"{len(every)} mutants, {len(tried)} tried: {dict(scores)}")
    for name in sorted(name for name, status in tried.items() if status == 0):
        print(mutmut("show", name))
    return 0 if tried else 1


if __name__ == "__main__":
    sys.exit(main())
