"""
Calendar files (iCalendar, RFC 5545) that a stranger made: their entries in a window of time.

Reading such a file means running the little programs in it. A rule that never matches, or one that counts seconds since
1970, keeps the library busy for hours, and no thread can be stopped; so the file is read in a process of its own, with
limits of time, memory and processor (`calendar_child`). It is ready in 0.2 s; a file of 500 events takes 0.2 s more.
Nothing is ever fetched: a calendar's address would be a request of the server's own.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import threading
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from server.exposure.refused import refuse
from server.language import manner, say
from server.settings import CHECKOUT

SECONDS_MOST = 5.0  # for one file, starting included
EVENTS_MOST = 5000
ENTRIES_MOST = 1000
AT_ONCE_MOST = 2  # files that are read at the same time; the others wait their turn
CHILD = "server.door.calendar_child"
FIELD = "calendar"

_turns = threading.BoundedSemaphore(AT_ONCE_MOST)


@dataclass(frozen=True, slots=True)
class Entry:
    """
    One entry of a calendar, or one repetition of it.

    start, end  by the clock that was asked for; end is None where none is said
    name, place, notes  as the file has them, cut at 2,000 characters; they may have several lines
    """

    start: datetime
    end: datetime | None
    name: str
    place: str
    notes: str


@dataclass(frozen=True, slots=True)
class Calendar:
    """
    What a calendar has in a window of time.

    entries     those that start in it, ordered by start
    elsewhere   events of the file with nothing in the window, each with all its repetitions counted once
    whole_days  all-day events that touch the window; they are no entries
    unread      what could not be read and is left out, in words
    """

    entries: tuple[Entry, ...]
    elsewhere: int
    whole_days: int
    unread: tuple[str, ...]


def read_calendar(data: bytes, first: datetime, last: datetime, time_zone: str) -> Calendar:
    """
    The entries of a calendar file with first <= start < last, repetitions included; cancelled ones are left out.

    data         the file; its size is bounded by the guard
    first, last  aware
    time_zone    the clock that the entries are told by, and that times without a zone are meant by
    Raises OutOfRange: no calendar, too many events or entries, a time zone that nobody knows, too long to work out.
    """
    try:
        zone = ZoneInfo(time_zone)
    except (ValueError, OSError, KeyError):
        refuse("time_zone", time_zone, say("a time zone such as Europe/London"))
    _check(data)
    asked = {
        "first": first.astimezone(zone).isoformat(),
        "last": last.astimezone(zone).isoformat(),
        "zone": time_zone,
        "language": manner().language,
        "seconds": SECONDS_MOST,
        "events_most": EVENTS_MOST,
        "entries_most": ENTRIES_MOST,
    }
    answer = _answer(json.dumps(asked).encode() + b"\n" + data)
    if "refused" in answer:
        refuse(FIELD, *answer["refused"])
    entries = tuple(
        Entry(_local(start, zone), end and _local(end, zone), name, place, notes)
        for start, end, name, place, notes in answer["entries"]
    )
    return Calendar(entries, answer["elsewhere"], answer["whole_days"], tuple(answer["unread"]))


def _local(at: str, zone: ZoneInfo) -> datetime:
    return datetime.fromisoformat(at).astimezone(zone)


def _check(data: bytes) -> None:
    """Refuse what needs no process to be refused."""
    if not data.strip():
        refuse(FIELD, "", say("a calendar file"))
    if not re.search(rb"^BEGIN:VCALENDAR\s*$", data.removeprefix(b"\xef\xbb\xbf"), re.IGNORECASE | re.MULTILINE):
        begins = "".join(c if c.isprintable() else " " for c in data[:200].decode("utf-8", "replace"))
        refuse(FIELD, " ".join(begins.split()), say("a calendar file, which begins with BEGIN:VCALENDAR"))
    events = len(re.findall(rb"^BEGIN:VEVENT", data, re.IGNORECASE | re.MULTILINE))
    if events > EVENTS_MOST:
        refuse(
            FIELD,
            say("{count} events", count=f"{events:,}"),
            say("at most {most}; export less than the whole calendar", most=f"{EVENTS_MOST:,}"),
        )


def _answer(question: bytes) -> dict[str, Any]:
    """What the process says. Raises OutOfRange where it is too slow, too large, or fails."""
    if not _turns.acquire(timeout=SECONDS_MOST):
        refuse(FIELD, say("one of many files"), say("{most} at a time; send it again in a moment", most=AT_ONCE_MOST))
    try:
        said = _run(question)
    finally:
        _turns.release()
    if not said:
        refuse(
            FIELD,
            say("one that is too intricate"),
            say(
                "what is worked out within {seconds} seconds; export the day, or leave out what repeats",
                seconds=f"{SECONDS_MOST:g}",
            ),
        )
    answer: dict[str, Any] = json.loads(said)
    return answer


def _run(question: bytes) -> bytes:
    """What the process wrote before it ended by itself; nothing where it had to be ended."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("LYCHGATE_")}
    with subprocess.Popen(  # noqa: S603  # this Python and this program; no word of the file is in the command
        [sys.executable, "-m", CHILD],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,  # what it says would tell of this machine
        cwd=CHECKOUT,
        env={**kept, "PYTHONPATH": str(CHECKOUT)},
        start_new_session=True,
    ) as child:
        try:
            said, _ = child.communicate(question, timeout=SECONDS_MOST)
        except subprocess.TimeoutExpired:
            return b""
        finally:
            _end(child)
    return said if child.returncode == 0 else b""


def _end(child: subprocess.Popen[bytes]) -> None:
    """End a process that still runs, and whatever it may have started."""
    if child.poll() is not None:
        return
    with contextlib.suppress(ProcessLookupError):
        if hasattr(os, "killpg"):
            os.killpg(child.pid, signal.SIGKILL)  # it leads a session, so the group has its number
        else:
            child.kill()
